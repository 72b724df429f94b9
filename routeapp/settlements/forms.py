"""What people type about settlements: issuing, making void, sending, paying."""

from datetime import date
from typing import Any

from django import forms

from locations.hosts.models import Host
from routeapp.kit.forms import DayField, MoneyField, OnceForm
from routeapp.settlements.models import Means
from routeapp.settlements.queries_drafts import Draft


class IssueForm(OnceForm):
    """`seen_cents` is the sum on the page, so that nobody issues another one than they saw."""

    seen_cents = forms.IntegerField(widget=forms.HiddenInput)
    although = forms.BooleanField(label="Issue it all the same; what is in the bag follows", required=False)

    def __init__(self, *args: Any, draft: Draft, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["seen_cents"].initial = draft.cents
        if not draft.missing:
            self.fields["although"].widget = forms.HiddenInput()


class RunForm(OnceForm):
    until = DayField(label="All periods that end by")
    send = forms.BooleanField(label="Send each one to its host by e-mail", required=False)

    def __init__(self, *args: Any, last: date, can_send: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["until"].initial = last
        if not can_send:
            del self.fields["send"]

    def facts(self) -> dict[str, Any]:
        return {"send": False, **self.cleaned_data}


class VoidForm(forms.Form):
    reason = forms.CharField(label="Why is it void?", max_length=300, help_text="It stands on the paper.")


class SendForm(OnceForm):
    to = forms.EmailField(label="To", max_length=254)

    def __init__(self, *args: Any, host: Host, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["to"].initial = next((one.email for one in host.contacts.all() if one.email), "")


class PayForm(OnceForm):
    """`although` shows once there is a doubt about what was typed."""

    cents = MoneyField(label="How much", least=1)
    means = forms.ChoiceField(label="How", choices=Means.choices)
    day = DayField(label="On")
    note = forms.CharField(label="Note", max_length=200, required=False, help_text="A number, or what it was for.")
    although = forms.BooleanField(label="Yes, that is right", required=False)

    def __init__(self, *args: Any, owed: int, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["cents"].initial = owed if owed > 0 else None
        self.fields["day"].initial = today
        self._hide = not (self.is_bound and "although" in self.data)
        self.fields["although"].widget = forms.HiddenInput() if self._hide else forms.CheckboxInput()

    def ask(self) -> None:
        """Show the box, after something was refused that may be right all the same."""
        self.fields["although"].widget = forms.CheckboxInput()


class BeforeForm(forms.Form):
    until = DayField(label="Settled with every host up to and with")
