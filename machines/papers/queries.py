"""Reads of the papers of a model."""

from django.db.models import QuerySet

from machines.cabinets.models import CabinetModel
from machines.papers.models import ModelPaper


def papers_of(model: CabinetModel) -> QuerySet:
    """Manuals and photos of a model by name, without those taken away."""
    return ModelPaper.objects.live().filter(model=model).select_related("by")
