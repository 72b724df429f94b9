"""Manuals and photos of a model: what to look at while standing in front of a cabinet."""

from django.core.validators import FileExtensionValidator
from django.db import models

from machines.cabinets.models import CabinetModel
from routeapp.kit.facts import Fact


class ModelPaper(Fact):
    """A file about a model: a manual as PDF, or a photo."""

    uuid = models.UUIDField(unique=True)
    model = models.ForeignKey(CabinetModel, models.CASCADE, related_name="papers")
    name = models.CharField("what it is", max_length=120)
    file = models.FileField(upload_to="models/", validators=[FileExtensionValidator(["pdf", "jpg"])])

    class Meta(Fact.Meta):
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return f"{self.model}: {self.name}"

    @property
    def is_photo(self) -> bool:
        return str(self.file.name).endswith(".jpg")
