"""What is handed in for a model: a manual or a photo."""

from pathlib import PurePath
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from routeapp.kit import pictures
from routeapp.kit.forms import OnceForm

LARGEST_BYTES = 20 * 1024 * 1024


class PaperField(forms.FileField):
    """A PDF or a photo; cleans to its content, its kind ("pdf" or "jpg") and the name it had."""

    widget = forms.FileInput(attrs={"accept": "application/pdf,image/jpeg,image/png,image/webp"})

    def clean(self, data: Any, initial: Any = None) -> tuple[bytes, str, str]:
        file = super().clean(data, initial)
        name = PurePath(file.name).stem[:120].replace("\0", "")
        if file.size > LARGEST_BYTES:
            raise ValidationError(f"The file is larger than {LARGEST_BYTES // 1024 // 1024} MB. Choose a smaller one.")
        if file.read(5) == b"%PDF-":
            file.seek(0)
            return file.read(), "pdf", name
        file.seek(0)
        try:
            return pictures.clean(file, file.size), "jpg", name
        except pictures.NotAPicture:
            raise ValidationError("This is neither a PDF nor a photo that can be read. Choose another file.") from None


class PaperForm(OnceForm):
    file = PaperField(label="Manual or photo", help_text="PDF, JPEG, PNG or WebP.")
    name = forms.CharField(
        label="What it is", max_length=120, required=False, help_text="Left empty, it is the name of the file."
    )

    def said(self) -> dict[str, Any]:
        content, kind, name = self.cleaned_data["file"]
        return {
            "uuid": self.cleaned_data["uuid"],
            "content": content,
            "kind": kind,
            "name": self.cleaned_data["name"] or name or "Without a name",
        }
