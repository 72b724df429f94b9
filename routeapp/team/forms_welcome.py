"""What an empty installation asks first."""

from django import forms
from django.contrib.auth.forms import UsernameField
from django.contrib.auth.validators import UnicodeUsernameValidator

from routeapp.kit import clock, money
from routeapp.kit.units import Units
from routeapp.team.forms import LONGEST_USERNAME, NewPasswordField


class WelcomeForm(forms.Form):
    name = forms.CharField(label="What your business is called", max_length=120)
    currency = forms.ChoiceField(choices=money.currency_choices, initial="USD")
    time_zone = forms.ChoiceField(choices=clock.zone_choices, help_text="Each location may have its own.")
    units = forms.ChoiceField(label="Sizes and weights in", choices=Units.choices)
    own_name = forms.CharField(label="Your name", max_length=150, help_text="As it stands on visits and receipts.")
    username = UsernameField(
        label="User name to sign in with",
        max_length=LONGEST_USERNAME,
        validators=[UnicodeUsernameValidator(message="Use letters, digits and @ . + - _ only.")],
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
    )
    password = NewPasswordField(help_text="At least 10 characters; three or four odd words are easy to type.")
