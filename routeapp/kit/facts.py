"""What every fact of the business carries: who, when it happened, when it was received, and what brought it."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any, Self
from uuid import UUID

from django.conf import settings
from django.db import models
from django.db.models import Q


class FactQuerySet(models.QuerySet):
    def live(self) -> Self:
        """Facts that no later fact has withdrawn."""
        return self.filter(withdrawn_at__isnull=True)

    def withdraw(self, *, sources: Iterable[UUID], by: Any, at: datetime) -> int:
        """Mark what the documents `sources` brought as withdrawn. The facts themselves stay readable."""
        return self.live().filter(source__in=list(sources)).update(withdrawn_at=at, withdrawn_by=by)


class MoveQuerySet(FactQuerySet):
    def standing(self) -> Self:
        """Moves that hold: what was taken back is left out, and what took it back."""
        return self.filter(reverses=None, reversed_by=None)


class Fact(models.Model):
    """A fact is never edited: a correction withdraws it and appends another."""

    at = models.DateTimeField("happened at")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False)
    received_at = models.DateTimeField()
    source = models.UUIDField(db_index=True, null=True, editable=False)  # the document that brought it
    withdrawn_at = models.DateTimeField(null=True, editable=False)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, editable=False, related_name="+", db_index=False
    )

    objects = FactQuerySet.as_manager()

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                name="%(app_label)s_%(class)s_withdrawn_has_who_and_when",
                condition=Q(withdrawn_at=None, withdrawn_by=None)
                | Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False),
            )
        ]
