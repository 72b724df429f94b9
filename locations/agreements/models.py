"""The terms between operator and host, each set in force from a date until the next one starts."""

from django.db import models
from django.db.models import Q

from locations.agreements.rules_periods import Per, Period
from locations.agreements.rules_terms import Bearer, TermKind, Tiers
from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact


class Payment(TextChoices):
    CASH = "cash", "in cash"
    TRANSFER = "transfer", "by transfer"
    CHEQUE = "cheque", "by cheque"
    CREDIT = "credit", "as a credit"


class Agreement(Fact):
    """In force from `starts_on` (the location's calendar) until the next agreement of that location, or of that one
    cabinet there, starts. One that is `over` says that from then on nothing is agreed; a cabinet whose own terms are
    over falls under those of the location."""

    location = models.ForeignKey(Location, models.CASCADE, related_name="agreements")
    machine = models.ForeignKey(
        Machine, models.PROTECT, null=True, blank=True, related_name="agreements", verbose_name="only for one cabinet"
    )
    starts_on = models.DateField()
    over = models.BooleanField("nothing is agreed from then on", default=False, editable=False)
    settled = models.CharField("how often it is settled", max_length=10, choices=Period, default=Period.MONTH)
    anchor = models.DateField("a day on which it is settled", null=True, blank=True)
    paid = models.CharField("how it is paid", max_length=10, choices=Payment, default=Payment.CASH)
    tiers_on = models.CharField("a higher share is for", max_length=5, choices=Tiers, default=Tiers.PART)
    tax_by = models.CharField("who bears the tax", max_length=8, choices=Bearer, default=Bearer.OPERATOR)
    card_fees_by = models.CharField("who bears card fees", max_length=8, choices=Bearer, default=Bearer.OPERATOR)
    prize_cost_by = models.CharField("who bears the prizes won", max_length=8, choices=Bearer, default=Bearer.OPERATOR)
    refunds_by = models.CharField("who bears refunds to players", max_length=8, choices=Bearer, default=Bearer.OPERATOR)
    note = models.TextField(blank=True)

    class Meta(Fact.Meta):
        ordering = ["location", "-starts_on"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["location", "starts_on"],
                condition=Q(withdrawn_at=None, machine=None),
                name="agreement_one_start_per_day",
            ),
            models.UniqueConstraint(
                fields=["location", "machine", "starts_on"],
                condition=Q(withdrawn_at=None),
                name="agreement_of_cabinet_one_start_per_day",
            ),
        ]


class Term(models.Model):
    """One line of an agreement. `rate_bp` is in hundredths of a percent: 4000 is 40 %. A share holds for what is above
    `above_cents`; the other kinds have a sum, `cents`. `per` says for how long a figure counts: a week or a month."""

    agreement = models.ForeignKey(Agreement, models.CASCADE, related_name="terms")
    kind = models.CharField(max_length=10, choices=TermKind, default=TermKind.SHARE)
    rate_bp = models.PositiveIntegerField(default=0)
    above_cents = models.PositiveIntegerField(default=0)
    cents = models.PositiveIntegerField(default=0)
    per = models.CharField(max_length=5, choices=Per, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(name="term_share_at_most_all", condition=Q(rate_bp__lte=10000)),
            models.UniqueConstraint(fields=["agreement", "kind", "above_cents"], name="term_once_per_kind"),
            models.CheckConstraint(
                name="term_has_a_rate_or_a_sum",
                condition=Q(kind="share", cents=0) | (~Q(kind="share") & Q(rate_bp=0, above_cents=0, cents__gt=0)),
            ),
            models.CheckConstraint(
                name="term_of_weeks_or_months_says_which",
                condition=Q(kind__in=["rent", "minimum", "cap"], per__in=["week", "month"])
                | Q(kind="share", above_cents__gt=0, per__in=["week", "month"])
                | Q(kind="share", above_cents=0, per="")
                | Q(kind="visit", per=""),
            ),
        ]
