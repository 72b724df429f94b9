"""Keeping the manuals and photos of a model."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction

from machines.cabinets.models import CabinetModel
from machines.papers.models import ModelPaper
from routeapp.kit import audit
from routeapp.kit.locks import lock
from routeapp.kit.once import same


@transaction.atomic
def add_paper(
    *, uuid: UUID, model: CabinetModel, name: str, content: bytes, kind: str, by: Any, at: datetime
) -> ModelPaper:
    """Keep a cleaned file of the `kind` "pdf" or "jpg". The same `uuid` again changes nothing."""
    lock("paper", uuid)
    if found := ModelPaper.objects.filter(uuid=uuid).first():
        return same(found, model=model, name=name)
    paper = ModelPaper(uuid=uuid, model=model, name=name, by=by, at=at, received_at=at)
    paper.file.save(f"{uuid}.{kind}", ContentFile(content), save=False)
    paper.save(force_insert=True)
    audit.record("added a paper", paper, by=by, at=at)
    return paper


@transaction.atomic
def take_away(*, paper: ModelPaper, by: Any, at: datetime) -> None:
    """Show a paper no longer. Its file stays."""
    if ModelPaper.objects.live().filter(pk=paper.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record("took away a paper", paper, by=by, at=at)
