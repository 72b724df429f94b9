"""The file that somebody brings."""

from django import forms


class BringInForm(forms.Form):
    file = forms.FileField(label="The zip that was taken out", widget=forms.FileInput(attrs={"accept": ".zip"}))
