"""Money paid by card: which reader is in which cabinet, and what the processor's statements say."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.kit.at_work import KeptFile
from routeapp.kit.facts import Fact


class ReaderMove(Fact):
    """From a moment on a card reader is in a cabinet, or in none. It is where its newest live move says."""

    uuid = models.UUIDField(unique=True)  # made by the form
    serial = models.CharField("serial number", max_length=40)
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, related_name="reader_moves")
    note = models.CharField(max_length=200, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["serial", "at"], condition=Q(withdrawn_at=None), name="reader_in_one_cabinet_at_a_time"
            ),
            models.CheckConstraint(name="reader_has_a_serial", condition=~Q(serial="")),
        ]

    def __str__(self) -> str:
        return f"Reader {self.serial}"


class CardStatement(KeptFile):
    """A processor's statement: the file, what its columns were said to mean, and what a check of it found.

    Its rows are in the books from `brought_at` until `withdrawn_at`.
    """

    uuid = models.UUIDField(primary_key=True)  # made by the form, so a file sent twice is one
    name = models.CharField("file name", max_length=200)
    file = models.FileField(upload_to="cards/")
    signature = models.CharField(max_length=500, blank=True)  # its headings, by which the next one is recognised
    said = models.JSONField(default=dict)
    found = models.JSONField(default=dict)
    until = models.DateTimeField(null=True)  # it tells of all that happened before
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    received_at = models.DateTimeField()
    brought_at = models.DateTimeField(null=True)
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["-received_at", "uuid"]
        constraints = [
            models.CheckConstraint(
                name="card_statement_withdrawn_has_who_and_when",
                condition=Q(withdrawn_at=None, withdrawn_by=None)
                | Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False),
            ),
            models.CheckConstraint(
                name="card_statement_withdrawn_was_brought",
                condition=Q(withdrawn_at=None) | Q(brought_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class CardRow(Fact):
    """What one row of a statement says; its moves of money carry its `uuid` as their source.

    `key` is what it is recognised by when another statement has it too. A sale whose cabinet nobody knows moves
    nothing until it is matched.
    """

    uuid = models.UUIDField(unique=True)
    statement = models.ForeignKey(CardStatement, models.PROTECT, related_name="rows")
    number = models.PositiveIntegerField("row of the file")
    key = models.UUIDField()
    serial = models.CharField("serial number", max_length=40, blank=True)
    reference = models.CharField("the processor's number", max_length=100, blank=True)
    sale_cents = models.PositiveIntegerField(default=0)
    fee_cents = models.IntegerField(default=0)  # below zero: given back
    refund_cents = models.PositiveIntegerField(default=0)
    payout_cents = models.PositiveIntegerField(default=0)
    waits = models.BooleanField("waits for its cabinet", default=False)  # derived, so that these few are found at once

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        indexes = [
            models.Index(fields=["serial", "at"]),
            models.Index(fields=["at"], condition=Q(waits=True), name="card_row_waits"),
        ]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(fields=["key"], condition=Q(withdrawn_at=None), name="card_row_counts_once"),
            models.CheckConstraint(
                name="card_row_says_an_amount",
                condition=Q(sale_cents__gt=0) | ~Q(fee_cents=0) | Q(refund_cents__gt=0) | Q(payout_cents__gt=0),
            ),
            models.CheckConstraint(name="card_row_sale_names_its_reader", condition=Q(sale_cents=0) | ~Q(serial="")),
        ]

    def __str__(self) -> str:
        return f"Row {self.number} of {self.statement}"


class CardMatch(Fact):
    """Somebody said by hand which cabinet a row belongs to, and where that stood."""

    row = models.ForeignKey(CardRow, models.PROTECT, related_name="matches")
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="+")
    location = models.ForeignKey(Location, models.PROTECT, related_name="+")

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(fields=["row"], condition=Q(withdrawn_at=None), name="card_row_matched_once"),
        ]
