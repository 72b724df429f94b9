"""Spreadsheets that were brought in: the file, what its columns were said to mean, what came of it, what it made."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from routeapp.kit.choices import TextChoices


class State(TextChoices):
    CHOOSING = "choosing", "Columns to be looked at"
    CHECKING = "checking", "Being checked"
    CHECKED = "checked", "Checked"
    BRINGING = "bringing", "Being brought in"
    DONE = "done", "Brought in"
    UNDOING = "undoing", "Being taken back"
    UNDONE = "undone", "Taken back"


WORKING = (State.CHECKING, State.BRINGING, State.UNDOING)


class SheetImport(models.Model):
    """One file. `plan` is what a person said about its sheets, `result` what the last check or run found."""

    uuid = models.UUIDField(primary_key=True)  # made by the form, so a file sent twice is one
    name = models.CharField("file name", max_length=200)
    file = models.FileField(upload_to="spreadsheets/")
    digest = models.CharField(max_length=64)  # SHA-256 of the file
    state = models.CharField(max_length=10, choices=State, default=State.CHOOSING)
    plan = models.JSONField(default=dict)
    result = models.JSONField(default=dict)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    received_at = models.DateTimeField()
    done_at = models.DateTimeField(null=True)
    undone_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    undone_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-received_at", "uuid"]
        constraints = [
            models.CheckConstraint(
                name="import_undone_has_who_and_when",
                condition=Q(undone_at=None, undone_by=None) | Q(undone_at__isnull=False, undone_by__isnull=False),
            )
        ]

    def __str__(self) -> str:
        return self.name

    def said(self) -> dict[str, str]:
        """What came of it, in words."""
        return {what: counted(self.result.get(what, {})) for what in ("made", "filled", "same", "undone")}


class Noun(TextChoices):
    HOST = "host", "hosts"
    LOCATION = "location", "locations"
    CONTACT = "contact", "contacts"
    MODEL = "model", "models"
    CABINET = "cabinet", "cabinets"
    PLACEMENT = "placement", "placements"
    AGREEMENT = "agreement", "agreements"
    PRIZE = "prize", "prizes"
    STORE = "store", "stores"
    STOCK = "stock", "stock entries"
    VISIT = "visit", "visits"
    BAG = "bag", "bags"


def counted(many: dict[str, int]) -> str:
    """Counts by noun in words: “1 host, 3 cabinets”."""
    singular = {noun.label: noun.value for noun in Noun} | {Noun.STOCK.label: "stock entry"}
    return ", ".join(f"{count:,} {singular[noun] if count == 1 else noun}" for noun, count in many.items() if count)


class Brought(models.Model):
    """One thing that an import made, or (with `before`) whose empty columns it filled. `key` is its id as text."""

    sheet_import = models.ForeignKey(SheetImport, models.CASCADE, related_name="brought")
    noun = models.CharField(max_length=10, choices=Noun)
    key = models.CharField(max_length=36)
    filled = models.JSONField(null=True)  # what was written into its empty columns, by column
    retired_at = models.DateTimeField(null=True)  # when taking the import back put it out of use

    class Meta:
        indexes = [models.Index(fields=["noun", "key"])]


class RememberedColumns(models.Model):
    """What the columns under a heading row meant the last time, for the next file that looks the same."""

    signature = models.CharField(max_length=64, unique=True)  # SHA-256 of the plain headings
    columns = models.JSONField()  # meaning by column number
    answers = models.JSONField(default=dict)  # what else was said about that file
    received_at = models.DateTimeField()
