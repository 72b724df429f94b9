"""Which tables are taken out, in words: read off the models, so that a new one is never forgotten."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.apps import apps
from django.contrib.admin.models import LogEntry
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from django.contrib.contenttypes.models import ContentType
from django.db import connection, models
from django.db.migrations.recorder import MigrationRecorder

from routeapp.data.export import rules_cells as cells
from routeapp.data.export.rules_cells import KINDS, Kind
from routeapp.team.models import Business

# What stays here, and why. Everything else is taken out.
STAYS = {
    "auth.User.password": "nobody's password leaves the installation, not even scrambled",
    "auth.User.is_staff": "this product has no admin pages",
    "auth.User.is_superuser": "roles say who may do what",
    "auth.Permission": "made by Django; this product goes by roles",
    "auth.Group_permissions": "made by Django; this product goes by roles",
    "auth.User_user_permissions": "made by Django; this product goes by roles",
    "contenttypes.ContentType": "made by Django; the log names the sort of row in words instead",
    "sessions.Session": "who is signed in just now",
    "axes.AccessAttempt": "guards this installation against guessing",
    "axes.AccessAttemptExpiration": "guards this installation against guessing",
    "axes.AccessFailureLog": "guards this installation against guessing",
    "axes.AccessLog": "guards this installation against guessing",
    "routeapp.CalendarLink": "whoever knows such an address sees somebody's rounds; a new one is made in a moment",
    "machines.ReportWindow": "guards this installation against floods of reports, for an hour each",
}
BORROWED = {  # tables that Django wrote, in our words
    "auth.User": "The people who may sign in, or could once. Passwords are not taken out.",
    "auth.Group": "The roles a person can have.",
    "admin.LogEntry": "The log of who did what.",
}
COMMON = {
    "id": "number of this row",
    "at": "when it happened",
    "by_id": "who did it",
    "received_at": "when it came into the books",
    "source": "id of the document that brought it: a service entry, a placement, a form",
    "withdrawn_at": "when a correction withdrew it; empty while it holds",
    "withdrawn_by_id": "who withdrew it",
}
UNITS = {
    "mm": "millimetres",
    "kg": "kilograms",
    "bp": "hundredths of a percent (4000 is 40 %)",
    "watts": "watts",
    "seconds": "seconds",
}
ALONE = (Business, LogEntry, Group)  # with the people, all that an installation has before its first cabinet


@dataclass(frozen=True)
class Column:
    field: Any

    @cached_property
    def name(self) -> str:
        return self.field.attname

    @cached_property
    def refers(self) -> Any:
        """The model this column refers to, if any."""
        return self.field.related_model

    @cached_property
    def inner(self) -> Any:
        """The field that says what the cells hold: for a reference, the one it points at."""
        found = self.field
        while found.related_model:
            found = found.target_field
        return found

    @cached_property
    def kind(self) -> Kind:
        if self.refers is ContentType:
            return sort_of_row()
        return KINDS[self.inner.get_internal_type()]

    @property
    def words(self) -> str:
        help_text = f". {self.field.help_text}" if self.field.help_text else ""
        return COMMON.get(self.name) or f"{self.field.verbose_name}{help_text}"

    @property
    def unit(self) -> str:
        last = self.name.rpartition("_")[2]
        return "minor units of the currency" if last == "cents" else UNITS.get(last, "")

    @property
    def choices(self) -> dict[Any, str]:
        return dict(self.field.flatchoices)

    def read(self, cell: str) -> Any:
        """The value of a cell. Raises ValueError with the rest of a sentence about it."""
        value = cells.read(self.kind, cell, nullable=self.field.null)
        if value is not None and self.choices and value not in self.choices and value != "":
            raise ValueError(f"holds “{cell[:40]}”, which is none of {', '.join(map(str, self.choices))}")
        self.inner.run_validators(value)
        return value

    def write(self, value: Any) -> str:
        return cells.write(self.kind, value, nullable=self.field.null)


@dataclass(frozen=True)
class Table:
    model: Any

    @property
    def label(self) -> str:
        return self.model._meta.label

    @property
    def name(self) -> str:
        return str(self.model._meta.verbose_name)

    @property
    def file(self) -> str:
        return f"tables/{self.name}.csv"

    @property
    def words(self) -> str:
        if self.model._meta.auto_created:  # what only joins two tables
            first, second = (column.refers._meta.verbose_name for column in self.columns if column.refers)
            return f"Which {first} goes with which {second}."
        return BORROWED.get(self.label) or " ".join((self.model.__doc__ or "").partition("\n\n")[0].split())

    @cached_property
    def columns(self) -> list[Column]:
        fields = self.model._meta.concrete_fields
        return [Column(field) for field in fields if f"{self.label}.{field.attname}" not in STAYS]

    @property
    def called(self) -> str | None:
        """The column by which people know a row: the first text that no two rows share."""
        unique = (column for column in self.columns if column.field.unique and column.kind is cells.TEXT)
        return next((column.name for column in unique), None)

    def rows(self) -> Iterator[tuple]:
        names = [column.name for column in self.columns]
        return self.model._base_manager.order_by("pk").values_list(*names).iterator(chunk_size=2000)


def tables() -> list[Table]:
    """Every table that is taken out, each after those it refers to."""
    models_left = [one for one in apps.get_models(include_auto_created=True) if one._meta.label not in STAYS]
    ordered: list[Any] = []

    def add(model: Any) -> None:
        if model in models_left and model not in ordered:
            for field in model._meta.concrete_fields:
                if field.related_model not in (None, model):
                    add(field.related_model)
            ordered.append(model)

    for model in models_left:
        add(model)
    return [Table(model) for model in ordered]


def sort_of_row() -> Kind:
    """The log names the sort of row it is about; its number differs from one installation to another."""
    names = {one.pk: f"{one.app_label}.{one.model}" for one in ContentType.objects.all()}
    numbers = {name: pk for pk, name in names.items()}
    return Kind("sort of row", names.__getitem__, numbers.__getitem__, "machines.machine")


def versions() -> dict[str, str]:
    """The newest change of tables in each of our apps: a file fits where they are the same."""
    applied = MigrationRecorder(connection).applied_migrations()
    ours = ("machines", "locations", "routeapp")
    return {app: max((name for label, name in applied if label == app), default="") for app in ours}


def filled_tables() -> list[str]:
    """The tables that keep an installation from counting as empty, by name."""
    apart = {*ALONE, get_user_model(), get_user_model().groups.through}
    return [one.name for one in tables() if one.model not in apart and one.model._base_manager.exists()]


def dictionary(listed: Iterable[Table]) -> Iterator[list[str]]:
    """What every table and column is, as rows."""
    yield ["table", "column", "what it is", "holds", "unit", "may be empty", "refers to", "one of"]
    for table in listed:
        yield [table.name, "", table.words, "", "", "", "", ""]
        for column in table.columns:
            refers = column.refers
            target = str(refers._meta.verbose_name) if refers and refers is not ContentType else ""
            empty = column.field.null or (column.kind in (cells.TEXT, cells.FILE) and column.field.blank)
            choices = "; ".join(f"{value} = {label}" for value, label in column.choices.items())
            kind = column.kind.words
            yield [table.name, column.name, column.words, kind, column.unit, "yes" if empty else "", target, choices]


def unmet(table: Table, column: Column) -> tuple[Any, Any] | None:
    """The first row that refers to nothing: its own key, and what it refers to."""
    there = column.refers._base_manager.filter(**{column.field.target_field.attname: models.OuterRef(column.name)})
    lost = table.model._base_manager.exclude(**{column.name: None}).exclude(models.Exists(there))
    return lost.order_by("pk").values_list("pk", column.name).first()
