"""Brings what was taken out into an empty installation: all of it, or nothing."""

from collections.abc import Callable
from datetime import datetime
from itertools import islice
from typing import Any, BinaryIO

from django.conf import settings
from django.contrib.admin.models import LogEntry
from django.contrib.auth import get_user_model
from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group
from django.core.cache import caches
from django.core.exceptions import SuspiciousFileOperation, ValidationError
from django.core.files import File
from django.core.files.storage import default_storage
from django.core.files.utils import validate_file_name
from django.core.management.color import no_style
from django.db import DataError, IntegrityError, connection, transaction

from routeapp.data.export import queries
from routeapp.data.export.queries import Column, Table
from routeapp.data.export.rules_about import FILES
from routeapp.data.export.rules_cells import FILE
from routeapp.data.export.rules_zip import Brought, NotOurs, Row
from routeapp.kit import audit
from routeapp.kit.access import OWNER
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.team.models import Business
from routeapp.team.queries import active_owners

ROWS_AT_ONCE = 500
UNTOUCHED = "Nothing was changed here."


def bring_in(
    *, file: BinaryIO, size: int, by: Any = None, at: datetime, say: Callable[[str], Any] = lambda line: None
) -> dict[str, int]:
    """Fill an empty installation from a zip that `take_out` made; returns the number of rows by table.

    The person who brings it in stays: with the password and as an owner, under the user name as it is. Everybody
    else needs a new password. Refuses an installation with anything in it, and a zip that is not whole, of another
    version, or changed so that it no longer fits together.
    """
    photos: list[str] = []
    try:
        brought = Brought(file, size)
        with transaction.atomic():
            lock("people")
            _refuse_what_does_not_fit(brought)
            keeper = _make_room(by)
            for table in queries.tables():
                say(f"{table.name}: {brought.about['rows'].get(table.name, 0)} rows")
                _fill(table, brought, photos)
            for table in queries.tables():
                _check_references(table, brought)
            _go_on_numbering()
            keeper = _keep(keeper) if keeper else active_owners().order_by("pk").first()
            if keeper is not None:
                taken = brought.about["taken_out_at"]
                audit.record(f"brought in what was taken out at {taken}", Business.objects.first(), by=keeper, at=at)
    except NotOurs as problem:
        _drop(photos)
        raise Refused(f"{problem} {UNTOUCHED}", "file") from None
    except BaseException:
        _drop(photos)
        raise
    for kept in caches.all():
        kept.clear()
    return dict(brought.about["rows"])


def _refuse_what_does_not_fit(brought: Brought) -> None:
    if filled := queries.filled_tables():
        raise Refused(
            f"There is something in these books already ({', '.join(filled[:5])}), and nothing is ever mixed."
        )
    if get_user_model().objects.count() > 1:
        raise Refused("More than one person is in this installation already, and nothing is ever mixed.")
    theirs, here = brought.about["tables_as_of"], queries.versions()
    if theirs != here:
        raise NotOurs(
            f"This was taken out of another version of Keyround: its tables are as of {_told(theirs)}, here they are "
            f"as of {_told(here)}. Bring it into that version and update it then."
        )
    counted = {table.name for table in queries.tables()}
    if not isinstance(brought.about["rows"], dict) or set(brought.about["rows"]) != counted:
        raise NotOurs("about.json in this zip was changed: it names other tables than are taken out.")


def _told(versions: Any) -> str:
    return ", ".join(f"{app} {name[:4]}" for app, name in versions.items()) if isinstance(versions, dict) else "nothing"


def _make_room(by: Any) -> Any:
    """Take away what stands in an installation before its first cabinet; returns the person who stays, as it was."""
    keeper = get_user_model().objects.filter(pk=by.pk).first() if by else None
    for model in (LogEntry, Business, get_user_model(), Group):
        model._base_manager.all().delete()
    return keeper


def _fill(table: Table, brought: Brought, photos: list[str]) -> None:
    """Write every row of one table."""
    rows = brought.rows(table.file, [column.name for column in table.columns])
    number = 0
    while batch := list(islice(rows, ROWS_AT_ONCE)):
        number += len(batch)
        made = [_made(table, row) for row in batch]
        for column in (one for one in table.columns if one.kind is FILE):
            _bring_files(column, made, brought, photos)
        _write(table, batch, made)
    wanted = brought.about["rows"][table.name]
    if number != wanted:
        raise NotOurs(f"{table.file} has {number} rows, and {wanted} were taken out.")


def _made(table: Table, row: Row) -> Any:
    values = {}
    for column in table.columns:
        try:
            values[column.name] = column.read(row.cells[column.name])
        except ValidationError as problem:
            raise NotOurs(f"{_where(table, row, column)}: {' '.join(problem.messages)}") from None
        except ValueError as problem:
            raise NotOurs(f"{_where(table, row, column)} {problem}.") from None
    if table.model is get_user_model():
        values["password"] = make_password(None)
    return table.model(**values)


def _where(table: Table, row: Row, column: Column) -> str:
    return f"{table.file}, row {row.number}, column {column.name}"


def _write(table: Table, batch: list[Row], made: list[Any]) -> None:
    """Write rows at once; when the database refuses them, find the one it refuses."""
    try:
        with transaction.atomic():
            table.model._base_manager.bulk_create(made)
    except (IntegrityError, DataError):
        for row, one in zip(batch, made, strict=True):
            try:
                with transaction.atomic():
                    one.save(force_insert=True)
            except (IntegrityError, DataError) as problem:
                raise NotOurs(f"{table.file}, row {row.number}: {_rule_broken(problem)}") from None
        raise


def _rule_broken(problem: Exception) -> str:
    """The name of the rule speaks: PostgreSQL gives it, SQLite's words end with it or with the columns that clash."""
    said = str(problem).splitlines()[0]
    given = getattr(getattr(problem.__cause__, "diag", None), "constraint_name", None)
    name = given or said.rpartition(": ")[2]
    if "UNIQUE" in said.upper():
        return f"another row says the same where it may stand once only ({name})."
    return f"it breaks a rule of the books ({name.replace('_', ' ')})."


def _check_references(table: Table, brought: Brought) -> None:
    """Refuse a row that refers to one that is not there. The database itself would only say so at the very end."""
    for column in table.columns:
        if column.refers is None or not (lost := queries.unmet(table, column)):
            continue
        key, value = lost
        own = next(one for one in table.columns if one.field.primary_key)
        names = [one.name for one in table.columns]
        row = next(row for row in brought.rows(table.file, names) if own.read(row.cells[own.name]) == key)
        target = column.refers._meta.verbose_name
        raise NotOurs(f"{_where(table, row, column)} refers to {target} {value}, which is not in this zip.")


def _bring_files(column: Column, made: list[Any], brought: Brought, photos: list[str]) -> None:
    """Write the files that rows name, under these names."""
    for one in made:
        name = str(getattr(one, column.name))
        if not name or name in brought.about["files_not_found"]:
            continue
        try:
            validate_file_name(name, allow_relative_path=True)
        except SuspiciousFileOperation:
            raise NotOurs(f"“{name[:60]}” is no name that a file can have here.") from None
        if brought.sizes.get(FILES + name, 0) > settings.MAX_FILE_BYTES:
            raise NotOurs(f"{FILES}{name} is larger than any file that is kept here.")
        with brought.opened(FILES + name) as entry:
            kept = default_storage.save(name, File(entry, name))
        photos.append(kept)
        setattr(one, column.name, kept)


def _drop(photos: list[str]) -> None:
    for name in photos:
        default_storage.delete(name)


def _go_on_numbering() -> None:
    """PostgreSQL counts rows apart from the rows; SQLite does not."""
    statements = connection.ops.sequence_reset_sql(no_style(), [table.model for table in queries.tables()])
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def _keep(keeper: Any) -> Any:
    """The person who brought everything in goes on signing in as before, as an owner."""
    people = get_user_model().objects
    person = people.filter(username__iexact=keeper.username).first()
    if person is None:
        person = get_user_model()(username=keeper.username, first_name=keeper.first_name, last_name=keeper.last_name)
    person.password, person.is_active = keeper.password, True
    person.save()
    person.groups.set([Group.objects.get_or_create(name=OWNER)[0]])
    return person
