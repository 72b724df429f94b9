"""What people type about themselves, their colleagues and the business."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, UsernameField
from django.contrib.auth.validators import UnicodeUsernameValidator

from routeapp.kit import clock, money
from routeapp.kit.access import BOOKKEEPER, OWNER, ROLES, ROUTE_HAND, roles_of
from routeapp.kit.units import Units
from routeapp.team import queries

LONGEST_USERNAME = 150
LONGEST_PASSWORD = 128  # hashing is slow on purpose, so nobody may hand it a book

ROLE_CHOICES = [(ROUTE_HAND, "Route hand"), (BOOKKEEPER, "Bookkeeper"), (OWNER, "Owner")]
ROLES_EXPLAINED = (
    "A route hand makes visits and looks after cabinets and prizes; a bookkeeper counts bags and sees earnings; "
    "an owner may do everything."
)


class SignInForm(AuthenticationForm):
    """The same answer whether the name, the password or the right to sign in is missing."""

    error_messages = {
        "invalid_login": "That user name and password do not belong together. Mind capital letters and try again."
    }
    username = UsernameField(label="User name", max_length=LONGEST_USERNAME, widget=forms.TextInput())
    password = forms.CharField(
        max_length=LONGEST_PASSWORD,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )


class NewPasswordField(forms.CharField):
    def __init__(self, **kwargs: Any) -> None:
        widget = forms.PasswordInput(attrs={"autocomplete": "new-password"})
        super().__init__(strip=False, max_length=LONGEST_PASSWORD, widget=widget, **kwargs)


class NewPersonForm(forms.Form):
    username = UsernameField(
        label="User name",
        max_length=LONGEST_USERNAME,
        validators=[UnicodeUsernameValidator(message="Use letters, digits and @ . + - _ only.")],
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text="What they sign in with. It stays the same for good.",
    )
    name = forms.CharField(max_length=150, help_text="As it stands on visits and receipts.")
    role = forms.ChoiceField(choices=ROLE_CHOICES, help_text=ROLES_EXPLAINED)
    password = NewPasswordField(
        label="First password", help_text="At least 10 characters; three or four odd words are easy to type."
    )


class PersonForm(forms.Form):
    name = forms.CharField(max_length=150)
    role = forms.ChoiceField(choices=ROLE_CHOICES, help_text=ROLES_EXPLAINED)
    active = forms.BooleanField(
        label="May sign in", required=False, help_text="Without this, what they did stays in the books as it was."
    )
    password = NewPasswordField(
        label="New password", required=False, help_text="Only to replace a forgotten one. Other devices are signed out."
    )

    @classmethod
    def about(cls, person: Any) -> dict[str, Any]:
        """What stands in the form before anything is changed."""
        role = next((role for role in ROLES if role in roles_of(person)), ROUTE_HAND)
        return {"name": person.get_full_name(), "role": role, "active": person.is_active}


class OwnPasswordForm(forms.Form):
    old = forms.CharField(
        label="Your password now",
        max_length=LONGEST_PASSWORD,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    password = NewPasswordField(
        label="New password",
        help_text="At least 10 characters; three or four odd words are easy to type. Other devices are signed out.",
    )


class BusinessForm(forms.Form):
    name = forms.CharField(max_length=120, help_text="Stands on every page and on receipts.")
    currency = forms.ChoiceField(
        choices=money.currency_choices,
        help_text="Every price and take is in it. It stays once the first cabinet has a price.",
    )
    time_zone = forms.ChoiceField(
        choices=clock.zone_choices, help_text="For times on pages; each location may have its own."
    )
    units = forms.ChoiceField(label="Sizes and weights in", choices=Units.choices)
    contact = forms.CharField(
        label="How players reach you",
        max_length=200,
        required=False,
        help_text="A telephone number or an address, shown on the page behind each label.",
    )


class LogFilter(forms.Form):
    """Whose lines; anything unreadable in the address counts as not chosen."""

    person = forms.ModelChoiceField(queryset=None, required=False, empty_label="Everybody")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = queries.people()
        self.fields["person"].widget.attrs["aria-label"] = "Person"

    def chosen(self) -> Any:
        self.is_valid()
        return self.cleaned_data.get("person")
