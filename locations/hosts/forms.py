"""What people type about hosts and contacts."""

import re

from django import forms
from django.core.exceptions import ValidationError

from locations.hosts.models import Contact, Host


class HostForm(forms.ModelForm):
    class Meta:
        model = Host
        fields = ["name", "notes"]
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}

    def validate_unique(self) -> None:
        """Left to the action, which knows a form sent twice from a name used twice."""


class ContactForm(forms.ModelForm):
    class Meta:
        model = Contact
        fields = ["name", "role", "phone", "email"]
        labels = {"role": "What they do there", "email": "E-mail"}
        widgets = {
            "phone": forms.TextInput(attrs={"type": "tel", "inputmode": "tel", "autocomplete": "off"}),
            "email": forms.EmailInput(attrs={"autocomplete": "off"}),
        }

    def clean_phone(self) -> str:
        phone = self.cleaned_data["phone"]
        if phone and not re.search(r"\d", phone):
            raise ValidationError("A phone number has digits, for example +1 555 0134.")
        return phone
