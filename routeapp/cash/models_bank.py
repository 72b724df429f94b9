"""What went to the bank and what the bank says: deposits, rows of its statements, and which belongs to which."""

from django.db import models
from django.db.models import Q

from routeapp.cash.models import CashMove
from routeapp.kit.at_work import KeptFile
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact


class Deposit(Fact):
    """Bags taken to the bank together; their moves carry its uuid as their source. `lines` are the pieces by
    denomination key on its slip, and what they leave of `cents` was not sorted."""

    uuid = models.UUIDField(unique=True)
    cents = models.PositiveIntegerField()
    lines = models.JSONField(default=dict)
    note = models.CharField(max_length=300, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"Deposit {self.pk}"


class BankFigure(Fact):
    """What the bank counted in a deposit. The newest live one holds; its difference moves between bank and over and
    short."""

    deposit = models.ForeignKey(Deposit, models.PROTECT, related_name="figures")
    cents = models.PositiveIntegerField()
    reason = models.CharField(max_length=200, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-received_at", "-pk"]


class Statement(KeptFile, Fact):
    """A file of one bank account's rows. `said` is what a person told about its columns; the next file with the same
    headings (`signature`) starts from it."""

    uuid = models.UUIDField(unique=True)
    name = models.CharField("file name", max_length=200)
    file = models.FileField(upload_to="statements/")
    account = models.CharField(max_length=80, blank=True)
    signature = models.CharField("plain headings", max_length=500, blank=True)
    said = models.JSONField(default=dict)
    rows_new = models.PositiveIntegerField(null=True)  # empty until its rows were taken
    rows_known = models.PositiveIntegerField(default=0)  # stood in an earlier file already
    rows_left_out = models.PositiveIntegerField(default=0)

    class Meta(Fact.Meta):
        ordering = ["-received_at", "-pk"]

    def __str__(self) -> str:
        return self.name


class BankRow(Fact):
    """One line of a bank statement; `cents` is above zero where money came in. By its `key`, made from what it says,
    the same line in two files is one."""

    key = models.UUIDField()
    statement = models.ForeignKey(Statement, models.PROTECT, related_name="rows")
    number = models.PositiveIntegerField("row of the file")
    day = models.DateField(db_index=True)
    cents = models.BigIntegerField()
    text = models.CharField(max_length=300, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-day", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="bank_row_is_not_zero", condition=~Q(cents=0)),
            models.UniqueConstraint(fields=["key"], condition=Q(withdrawn_at=None), name="bank_row_counts_once"),
        ]

    def __str__(self) -> str:
        return f"bank row of {self.day}"


class How(TextChoices):
    EXACT = "exact", "Same amount, near in time"
    NEAR = "near", "Near in amount and time, confirmed"
    HAND = "hand", "By hand"
    BOOKED = "booked", "Written into the books from the statement"
    ASIDE = "aside", "Set aside"


class Matched(Fact):
    """One row or one move of money that belongs to a match; the others of the same match have the same source."""

    how = models.CharField(max_length=6, choices=How)
    row = models.ForeignKey(BankRow, models.PROTECT, null=True, related_name="matched")
    move = models.ForeignKey(CashMove, models.PROTECT, null=True, related_name="matched")
    note = models.CharField(max_length=200, blank=True)

    class Meta(Fact.Meta):
        ordering = ["-received_at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                name="match_names_a_row_or_a_move",
                condition=Q(row=None, move__isnull=False) | Q(row__isnull=False, move=None),
            ),
            models.CheckConstraint(name="match_has_its_source", condition=Q(source__isnull=False)),
            models.UniqueConstraint(fields=["row"], condition=Q(withdrawn_at=None), name="bank_row_matched_once"),
            models.UniqueConstraint(fields=["move"], condition=Q(withdrawn_at=None), name="cash_move_matched_once"),
        ]
