"""The terms between operator and host, each set in force from a date until the next one starts."""

from django.db import models
from django.db.models import Q

from locations.sites.models import Location
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact


class Period(TextChoices):
    VISIT = "visit", "at each visit"
    WEEK = "week", "every week"
    FORTNIGHT = "fortnight", "every two weeks"
    MONTH = "month", "every month"
    QUARTER = "quarter", "every quarter"


class Payment(TextChoices):
    CASH = "cash", "in cash at the visit"
    TRANSFER = "transfer", "by transfer"
    CHEQUE = "cheque", "by cheque"
    CREDIT = "credit", "as a credit"


class Agreement(Fact):
    """In force from `starts_on` (the location's calendar) until the next agreement of that location starts."""

    location = models.ForeignKey(Location, models.CASCADE, related_name="agreements")
    starts_on = models.DateField()
    settled = models.CharField("how often it is settled", max_length=10, choices=Period, default=Period.MONTH)
    paid = models.CharField("how it is paid", max_length=10, choices=Payment, default=Payment.CASH)
    note = models.TextField(blank=True)

    class Meta(Fact.Meta):
        ordering = ["location", "-starts_on"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["location", "starts_on"], condition=Q(withdrawn_at=None), name="agreement_one_start_per_day"
            ),
        ]


class TermKind(TextChoices):
    SHARE = "share", "share of the take"


class Term(models.Model):
    """One line of an agreement. `rate_bp` is in hundredths of a percent: 4000 is 40 %."""

    agreement = models.ForeignKey(Agreement, models.CASCADE, related_name="terms")
    kind = models.CharField(max_length=10, choices=TermKind, default=TermKind.SHARE)
    rate_bp = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.CheckConstraint(name="term_share_at_most_all", condition=Q(rate_bp__lte=10000)),
            models.UniqueConstraint(fields=["agreement", "kind"], name="term_once_per_kind"),
        ]
