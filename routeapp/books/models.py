"""Months that were closed: what is learned later flows into the month that is open then."""

from django.db import models
from django.db.models import Q

from routeapp.kit.facts import Fact


class MonthClose(Fact):
    """All months up to `month` (its first day) are closed from `received_at` on. Withdrawn: opened again, for `reason`.

    `left` are the points of the checklist that were open when it was closed all the same, in words. `figures` are the
    amounts that are worked out rather than written down (prizes won at cost, tax inside the price), as they stood when
    it was closed, by “debit|credit”.
    """

    month = models.DateField()
    left = models.JSONField(default=list)
    figures = models.JSONField(default=dict)
    note = models.CharField(max_length=300, blank=True)
    reason = models.CharField("why it was opened again", max_length=300, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-month", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(fields=["month"], condition=Q(withdrawn_at=None), name="month_closed_once"),
            models.CheckConstraint(name="month_is_its_first_day", condition=Q(month__day=1)),
            models.CheckConstraint(
                name="month_opened_again_for_a_reason", condition=Q(withdrawn_at=None) | ~Q(reason="")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.month:%B %Y}"
