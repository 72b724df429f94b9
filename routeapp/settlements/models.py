"""Papers to hosts on what they get, how they were sent, payments besides visits, and the page a host may look at."""

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from locations.hosts.models import Host
from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.cash.models import CashMove
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact


class Settlement(Fact):
    """What the host of one location gets for a stretch of days, as it was issued. Withdrawn: void, with a reason.

    `cents` is the sum of its lines. `carried_cents` was owed before and `paid_cents` was paid since the paper before
    it, so that what was still owed when it was issued is their balance. One without a number stands for all that was
    settled before Keyround did it. Moves of money up to the number `moves_until` were surely known.
    """

    uuid = models.UUIDField(unique=True)  # made by the form, so the same submission twice is one
    number = models.PositiveIntegerField(null=True, unique=True)
    location = models.ForeignKey(Location, models.PROTECT, related_name="settlements")
    since = models.DateField()
    until = models.DateField()
    currency = models.CharField(max_length=3)
    cents = models.IntegerField()
    carried_cents = models.IntegerField(default=0)
    paid_cents = models.IntegerField(default=0)
    payments = models.ManyToManyField(CashMove, related_name="settlements")  # what `paid_cents` is made of
    terms = models.TextField(blank=True)  # as they were agreed, in words
    remarks = models.JSONField(default=list)  # sentences: days without terms, bags nobody had counted
    moves_until = models.PositiveBigIntegerField()
    replaces = models.OneToOneField("self", models.PROTECT, null=True, related_name="replaced_by")
    reason = models.CharField("why it is void", max_length=300, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-number"]
        indexes = [models.Index(fields=["location", "until"], name="settlement_by_location")]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="settlement_ends_after_it_starts", condition=Q(until__gte=F("since"))),
            models.CheckConstraint(
                name="settlement_void_says_why",
                condition=Q(withdrawn_at=None, reason="") | (Q(withdrawn_at__isnull=False) & ~Q(reason="")),
            ),
            models.CheckConstraint(
                name="settlement_replaces_another", condition=Q(replaces=None) | ~Q(replaces=F("id"))
            ),
            models.UniqueConstraint(
                fields=["location", "since"], condition=Q(withdrawn_at=None), name="settlement_once_per_start"
            ),
        ]

    def __str__(self) -> str:
        return "Settled before" if self.number is None else f"Settlement {self.number}"

    @property
    def closing_cents(self) -> int:
        """What was owed when it was issued, below zero: what was paid ahead or too much."""
        return self.carried_cents + self.cents - self.paid_cents


class SettlementLine(models.Model):
    """One line of a settlement, frozen: what it was worked out from, by which rate, and what came of it.

    One that `adjusts` an earlier settlement names what was received after that one was issued in `late`.
    """

    settlement = models.ForeignKey(Settlement, models.PROTECT, related_name="lines")
    place = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=12)
    words = models.CharField(max_length=400)
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, related_name="+", db_index=False)
    since = models.DateField()
    until = models.DateField()
    base_cents = models.IntegerField()
    rate = models.CharField(max_length=60)  # a fraction: "2/5" is 40 %
    cents = models.IntegerField()
    adjusts = models.ForeignKey(Settlement, models.PROTECT, null=True, related_name="adjusted_by")
    late = models.JSONField(default=list)  # [visit id, words]

    class Meta:
        ordering = ["settlement", "place"]
        constraints = [
            models.UniqueConstraint(fields=["settlement", "place"], name="settlement_line_one_a_place"),
            models.CheckConstraint(
                name="settlement_line_adjusts_another", condition=Q(adjusts=None) | ~Q(adjusts=F("settlement"))
            ),
        ]


class Means(TextChoices):
    TRANSFER = "transfer", "By transfer"
    CHEQUE = "cheque", "By cheque"
    OWN = "own", "In cash, the owner's own money"
    CREDIT = "credit", "Set off against something they owe us"


class Remittance(Fact):
    """Money a host got besides what was paid in cash at a visit. Its move of money carries its id as its source."""

    uuid = models.UUIDField(unique=True)
    location = models.ForeignKey(Location, models.PROTECT, related_name="remittances")
    means = models.CharField(max_length=8, choices=Means, default=Means.TRANSFER)
    day = models.DateField()
    cents = models.PositiveIntegerField()
    note = models.CharField(max_length=200, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="remittance_above_zero", condition=Q(cents__gt=0)),
        ]

    def __str__(self) -> str:
        return f"Payment of {self.day:%-d %b %Y}"


class Letter(Fact):
    """A settlement sent by e-mail. What came of it is written down once: `tried_at`, and `problem` where it failed."""

    uuid = models.UUIDField(unique=True)
    settlement = models.ForeignKey(Settlement, models.PROTECT, related_name="letters")
    to = models.EmailField()
    tried_at = models.DateTimeField(null=True)
    problem = models.CharField(max_length=300, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                name="letter_problem_only_when_tried", condition=Q(problem="") | Q(tried_at__isnull=False)
            ),
        ]


class StatementLink(Fact):
    """Whoever has the address may look at one host's settlements, until the link is withdrawn."""

    host = models.ForeignKey(Host, models.PROTECT, related_name="statement_links")
    code = models.CharField(max_length=32, unique=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["host"], condition=Q(withdrawn_at=None), name="statement_link_one_per_host"
            ),
        ]

    def __str__(self) -> str:
        return f"Statement page of {self.host}"


class SettlementRun(models.Model):
    """All that was due on a day, issued one after the other; what could not be is in `left` with its reason."""

    uuid = models.UUIDField(primary_key=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    until = models.DateField()  # the last day of the periods it issues
    send = models.BooleanField(default=False)
    of = models.PositiveIntegerField(default=0)
    done = models.PositiveIntegerField(default=0)
    issued = models.PositiveIntegerField(default=0)
    cents = models.IntegerField(default=0)
    left = models.JSONField(default=list)  # [location, its name, why]
    told_at = models.DateTimeField()  # when it last said how far it is
    ended_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"Settlements up to {self.until:%-d %b %Y}"

    def is_at_work(self, now: datetime) -> bool:
        """Whether somebody is still at it: a run that says nothing for a minute ended with the server."""
        return self.ended_at is None and now - self.told_at < timedelta(minutes=1)
