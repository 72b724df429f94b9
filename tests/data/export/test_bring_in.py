"""What is refused when everything is brought in: each in a sentence, and with nothing changed."""

import io
import json
from uuid import UUID
from zipfile import ZIP_DEFLATED, ZipFile

import pytest
from django.contrib.auth import get_user_model
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import Client, override_settings
from django.urls import reverse

from machines.models import Machine
from routeapp.kit.errors import Refused
from routeapp.models import Business, CardStatement, Photo, Visit
from tests import factories
from tests.data.export.books import brought_in, cell, changed, emptied, every_table, taken_out
from tests.visits.books import document, entry, make_world, record, some_id

pytestmark = pytest.mark.django_db
PIER_NINE = {"name": "Pier Nine Amusements", "time_zone": "America/Chicago"}


@pytest.fixture(scope="module")
def small_zip(django_db_setup, django_db_blocker, tmp_path_factory):
    """A small business as a zip, taken out once for this module."""
    media = override_settings(MEDIA_ROOT=tmp_path_factory.mktemp("before"))
    with django_db_blocker.unblock(), media, transaction.atomic():
        Business.objects.create(pk=1, **PIER_NINE)
        world = make_world(factories.person("ines", "owner"))
        world.location.notes = '=HYPERLINK("http://example.invalid")'
        world.location.save()
        photo = some_id("photo")
        work = entry(world, "a", reading=150, cents=4000, loaded={0: 20}, photos=[photo])
        tomas = factories.person("tomas", "route hand")
        record(world, document(world, "a", entries=[work]), photos={UUID(photo): b"a picture"}, by=tomas)
        Photo.objects.update(file=default_storage.save("visits/a.jpg", ContentFile(b"a picture")))
        content = taken_out()
        transaction.set_rollback(True)
    return content


@pytest.fixture
def taken(db, small_zip, settings, tmp_path):
    """The zip of a small business, and an installation with nothing in it."""
    emptied()
    settings.MEDIA_ROOT = tmp_path / "after"
    return small_zip


@pytest.fixture
def business(db):
    return Business.objects.create(pk=1, **PIER_NINE)


def refusal(content):
    with pytest.raises(Refused) as caught:
        brought_in(content)
    assert {name: rows for name, rows in every_table().items() if rows} == {}
    assert default_storage.exists("visits/a.jpg") is False
    return caught.value.message.removesuffix(" Nothing was changed here.")


def about(**changes):
    return lambda content: json.dumps({**json.loads(content), **changes}).encode()


def test_formula_comes_back_as_it_was_typed(taken):
    with ZipFile(io.BytesIO(taken)) as archive:
        assert "'=HYPERLINK" in archive.read("tables/location.csv").decode()
    brought_in(taken)
    assert Visit.objects.get().location.notes == '=HYPERLINK("http://example.invalid")'


def test_large_statement_comes_back_with_its_file(business, owner, noon, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "before"
    content = b"2026-03-05,coins,5.00\n" * 1_000_000  # 22 MB, and 39 are taken
    kept = CardStatement(uuid=UUID(int=1), name="march.csv", by=owner, received_at=noon)
    kept.file.save("march", ContentFile(content))
    taken = taken_out()
    emptied()
    settings.MEDIA_ROOT = tmp_path / "after"
    brought_in(taken)
    assert CardStatement.objects.get().file.read() == content


CELLS = [
    (
        "tables/cash move.csv",
        2,
        "cents",
        "12,5",
        "column cents holds “12,5”, which cannot be read as whole number, like 1250.",
    ),
    ("tables/cash move.csv", 2, "cents", "", "column cents is empty, and something has to stand there."),
    ("tables/cash move.csv", 2, "cents", "0", "it breaks a rule of the books (cash move above zero)."),
    ("tables/cash move.csv", 2, "cents", "-1", "column cents: Ensure this value is greater than or equal to 0."),
    (
        "tables/machine.csv",
        3,
        "status",
        "lost",
        "column status holds “lost”, which is none of ordered, arrived, bench, ready, placed, spare, out_of_order, "
        "sold, scrapped.",
    ),
    (
        "tables/machine.csv",
        3,
        "model_id",
        "77",
        "column model_id refers to cabinet model 77, which is not in this zip.",
    ),
    (
        "tables/machine.csv",
        3,
        "code",
        "C" * 17,
        "column code: Ensure this value has at most 16 characters (it has 17).",
    ),
    (
        "tables/visit.csv",
        2,
        "at",
        "yesterday",
        "column at holds “yesterday”, which cannot be read as moment, like 2026-03-02T10:00:00+00:00.",
    ),
    (
        "tables/visit.csv",
        2,
        "document",
        "{",
        'column document holds “{”, which cannot be read as JSON, like {"found": 3}.',
    ),
    (
        "tables/photo.csv",
        2,
        "entry_id",
        some_id("nothing"),
        f"column entry_id refers to service entry {some_id('nothing')}, which is not in this zip.",
    ),
]


@pytest.mark.parametrize(("table", "row", "column", "value", "told"), CELLS)
def test_changed_cell_is_told_by_table_row_and_column(taken, table, row, column, value, told):
    said = refusal(changed(taken, **{table: cell(row, column, value)}))
    assert (said[: len(where := f"{table}, row {row}")], said[-len(told) :]) == (where, told)


def test_two_rows_of_one_code_are_told(taken):
    code = lambda content: cell(3, "code", content.decode().splitlines()[1].split(",")[1])(content)  # noqa: E731
    told = refusal(changed(taken, **{"tables/machine.csv": code}))
    assert told.startswith("tables/machine.csv, row 3: another row says the same where it may stand once only")


NO_ZIP = "This is no zip file, or only the first part of one."
NO_ABOUT = "This was not taken out of Keyround, or it is only the first part: there is no about.json in it."
ZIPS = [
    ({"tables/machine.csv": None}, "tables/machine.csv is missing in this zip."),
    ({"about.json": None}, NO_ABOUT),
    ({"about.json": lambda kept: b"[]"}, "about.json in this zip was changed and cannot be read."),
    ({"about.json": about(format=9)}, "This file is of format 9, and this installation reads 1."),
    ({"about.json": about(rows={})}, "about.json in this zip was changed: it names other tables than are taken out."),
    (
        {"tables/host.csv": lambda kept: kept.replace(b"notes", b"remarks")},
        "tables/host.csv has other columns than were taken out: missing notes; unknown remarks.",
    ),
    (
        {"tables/host.csv": lambda kept: kept.replace(b"name,notes", b"notes,name")},
        "tables/host.csv has other columns than were taken out: they stand in another order.",
    ),
    (
        {"tables/host.csv": lambda kept: kept.replace(b",", b";")},
        "tables/host.csv has other columns than were taken out: missing id, name, notes; unknown id;name;notes.",
    ),
    (
        {"tables/host.csv": lambda kept: kept + b"9,One,too,many\r\n"},
        "tables/host.csv, row 3: 4 cells where there are 3 columns.",
    ),
    ({"tables/host.csv": lambda kept: kept + b"9,One more,\r\n"}, "tables/host.csv has 2 rows, and 1 were taken out."),
    (
        {"tables/host.csv": lambda kept: kept[: kept.index(b"\r\n") + 2]},
        "tables/host.csv has 0 rows, and 1 were taken out.",
    ),
    (
        {"tables/host.csv": lambda kept: "id,name,notes\r\n1,Café,".encode("utf-16")},
        "tables/host.csv is no longer UTF-8 text. Spreadsheets call that “CSV UTF-8”.",
    ),
    (
        {"tables/host.csv": lambda kept: kept + b'"open'},
        "tables/host.csv, line 3: this is no longer CSV (unexpected end of data).",
    ),
    ({"files/visits/a.jpg": None}, "files/visits/a.jpg is missing in this zip."),
    ({"tables/photo.csv": cell(2, "file", "../../a.jpg")}, "“../../a.jpg” is no name that a file can have here."),
]


@pytest.mark.parametrize(("entries", "told"), ZIPS)
def test_zip_that_was_changed_is_told_in_a_sentence(taken, entries, told):
    assert refusal(changed(taken, **entries)) == told


def test_another_version_says_which(taken):
    older = about(tables_as_of={"machines": "0001_tables", "locations": "0001_tables", "routeapp": "0001_tables"})
    told = refusal(changed(taken, **{"about.json": older}))
    assert told.startswith(
        "This was taken out of another version of Keyround: its tables are as of machines 0001, locations 0001, "
        "routeapp 0001, here they are as of machines 00"
    )
    assert told.endswith("Bring it into that version and update it then.")


# A zip ends with the list of what is in it. The workbook inside is a zip too, and its list ends earlier.
@pytest.mark.parametrize(
    ("keep", "told"), [(0, NO_ZIP), (1, NO_ZIP), (1000, NO_ZIP), (-1000, NO_ABOUT), (-30, NO_ABOUT)]
)
def test_part_of_a_zip_is_told(taken, keep, told):
    assert refusal(taken[:keep]) == told


def test_damaged_zip_is_told(taken):
    with ZipFile(io.BytesIO(taken)) as archive:
        start = archive.getinfo("tables/visit.csv").header_offset + 60
    spoilt = taken[:start] + bytes(40) + taken[start + 40 :]
    assert refusal(spoilt).startswith("tables/visit.csv in this zip is damaged")


def test_zip_bomb_is_not_unpacked(taken):
    out = io.BytesIO(taken)
    with ZipFile(out, "a", ZIP_DEFLATED) as archive, archive.open("more.csv", "w", force_zip64=True) as entry:
        for _ in range(200):
            entry.write(bytes(1024 * 1024))
    told = "This zip would grow far beyond any that is taken out here, so it was not unpacked."
    assert refusal(out.getvalue()) == told


def test_books_with_something_in_them_stay_as_they_are(taken):
    factories.MachineFactory()
    before = every_table()
    with pytest.raises(Refused, match=r"^There is something in these books already \(cabinet model, machine\)"):
        brought_in(taken)
    assert every_table() == before


def test_installation_with_more_people_stays_as_it_is(taken):
    factories.person("ada", "owner"), factories.person("ben", "owner")
    with pytest.raises(Refused, match="^More than one person"):
        brought_in(taken)
    assert get_user_model().objects.count() == 2


def signed_in(username):
    client = Client()
    person = factories.person(username, "owner")
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.mark.parametrize(("username", "people"), [("ines", ["ines", "tomas"]), ("ada", ["ada", "ines", "tomas"])])
def test_person_who_brings_it_in_stays_signed_in_as_owner(taken, username, people):
    client = signed_in(username)
    answer = client.post(reverse("everything-in"), {"file": io.BytesIO(taken)}, follow=True)
    assert answer.redirect_chain == [(reverse("people"), 302)]
    assert sorted(get_user_model().objects.values_list("username", flat=True)) == people
    keeper = get_user_model().objects.get(username=username)
    assert keeper.check_password(factories.PASSWORD)
    assert [group.name for group in keeper.groups.all()] == ["owner"]
    assert Visit.objects.get().by.username == "tomas"
    assert Photo.objects.get().file.read() == b"a picture"


def test_page_tells_what_is_wrong_with_the_file(db):
    client = signed_in("ada")
    answer = client.post(reverse("everything-in"), {"file": io.BytesIO(b"no zip")})
    assert answer.status_code == 422
    told = [f"{NO_ZIP} Nothing was changed here."]
    assert answer.context["form"].errors == {"file": told}


def test_page_of_filled_books_offers_no_form(db):
    client = signed_in("ada")
    factories.MachineFactory()
    answer = client.get(reverse("everything-in"))
    assert (answer.status_code, b"<form method" in answer.content) == (200, False)


def test_button_sends_the_zip_and_leaves_a_line_in_the_log(owner_client, owner):
    from django.contrib.admin.models import LogEntry

    answer = owner_client.post(reverse("everything-out"), headers={"accept-encoding": "gzip"})
    with ZipFile(io.BytesIO(answer.getvalue())) as archive:
        assert archive.testzip() is None
    line = LogEntry.objects.get()
    assert (line.user, line.change_message) == (owner, "took everything out of")


def test_commands_take_out_and_bring_in(taken, tmp_path, capsys):
    brought_in(taken)
    call_command("take_out", tmp_path / "all.zip")
    assert (tmp_path / "all.zip").stat().st_mode & 0o077 == 0
    emptied()
    call_command("bring_in", tmp_path / "all.zip")
    assert Machine.objects.count() == 2
    assert "owners are: ines" in capsys.readouterr().out


def test_commands_refuse_in_words(tmp_path):
    (tmp_path / "all.zip").write_bytes(b"something")
    for command, name, told in [
        ("take_out", "all.zip", "is there already and stays as it is"),
        ("take_out", "no/all.zip", "could not be written: No such file or directory"),
        ("bring_in", "none.zip", "could not be read: No such file or directory"),
        ("bring_in", "all.zip", "This is no zip file"),
    ]:
        with pytest.raises(CommandError, match=told):
            call_command(command, tmp_path / name)
