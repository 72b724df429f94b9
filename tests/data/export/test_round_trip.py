"""The demo out and into an empty installation: every row, every page, every photo as before."""

import io
import json
import re
import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from zipfile import ZipFile

import pytest
from django.apps import apps
from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.files.storage import default_storage
from django.db import transaction
from django.test import Client
from django.urls import reverse
from openpyxl import load_workbook

from machines.models import ArrivalPhoto, Machine
from routeapp.data.demo.load import load
from routeapp.data.export import queries
from routeapp.data.export.rules_cells import FILE, KINDS
from routeapp.models import Photo
from routeapp.visits import queries as visits
from tests.data.export.books import brought_in, emptied, every_table, taken_out
from tests.visits.books import purse_balances, stock_balances

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 1, 19, tzinfo=UTC)
PAGES = (
    "cabinets",
    "models",
    "locations",
    "hosts",
    "stock",
    "stock-moves",
    "deliveries",
    "mixes",
    "places",
    "cash",
    "faults",
)
MONEY = ("earnings", "earnings-takes", "over-short")


@pytest.fixture(scope="module")
def demo(django_db_setup, django_db_blocker, own_media_folder):
    """A small demo and its zip, made once for this module and taken away afterwards."""
    with django_db_blocker.unblock(), transaction.atomic():
        load(now=NOW, say=lambda line: None, seed=11, months=2, locations=8)
        yield taken_out()
        transaction.set_rollback(True)


@pytest.fixture
def elsewhere(settings, tmp_path):
    """An installation with nothing in it."""
    settings.MEDIA_ROOT = tmp_path
    emptied()


def owner_client():
    client = Client()
    client.force_login(get_user_model().objects.get(username="nadia"), backend=settings.AUTHENTICATION_BACKENDS[-1])
    return client


def pages():
    """What an owner reads on every page that lists or adds up something, without the secret of its forms and how long
    bags wait by now."""
    addresses = [*map(reverse, PAGES), *(f"{reverse(name)}?since=2026-04-01&until=2026-06-01" for name in MONEY)]
    addresses += [reverse("cabinet", args=[code]) for code in Machine.objects.values_list("code", flat=True)[:5]]
    client = owner_client()
    found = {address: client.get(address) for address in addresses}
    assert {answer.status_code for answer in found.values()} == {200}
    changing = r'"X-CSRFToken": "\w+"|name="csrfmiddlewaretoken" value="\w+"|waits for [^<]+'
    return {address: re.sub(changing, "", answer.content.decode()) for address, answer in found.items()}


def books():
    machines = list(Machine.objects.values_list("pk", flat=True))
    figures = visits.figures(machines, NOW - timedelta(days=200), NOW)
    return [purse_balances(), stock_balances(), [(one.entry.pk, one.plays, one.take, one.variance) for one in figures]]


def test_demo_is_the_same_after_the_round_trip(demo, request):
    tables, figures, read = every_table(), books(), pages()
    photos = {name: default_storage.open(name).read() for name in Photo.objects.values_list("file", flat=True)}
    request.getfixturevalue("elsewhere")

    rows = brought_in(demo)

    again = every_table()
    signed = again["log entry"].pop()
    assert signed[-1].startswith("brought in what was taken out at ")
    assert again == tables
    assert rows == {name: len(listed) for name, listed in tables.items()}
    assert books() == figures
    assert {name: default_storage.open(name).read() for name in photos} == photos
    assert {name: body for name, body in pages().items() if body != read[name]} == {}


def test_numbering_goes_on_after_the_last_row(demo, elsewhere):
    brought_in(demo)
    assert owner_client().post(reverse("host-add"), {"name": "The Copper Buoy"}).status_code == 302


def test_nobody_has_a_password_afterwards(demo, elsewhere):
    brought_in(demo)
    assert [person.has_usable_password() for person in get_user_model().objects.all()] == [False] * 3


def test_zip_holds_tables_their_dictionary_and_photos(demo):
    with ZipFile(io.BytesIO(demo)) as archive:
        names = archive.namelist()
        head = archive.read("tables/machine.csv").decode().partition("\r\n")[0]
        about = json.loads(archive.read("about.json"))
    listed = [table.file for table in queries.tables()]
    columns = [(table, column) for table in queries.tables() for column in table.columns if column.kind is FILE]
    photos = [
        f"files/{name}"
        for table, column in columns
        for name in table.model.objects.exclude(**{column.name: ""}).values_list(column.name, flat=True)
    ]
    rest = ["READ ME FIRST.txt", "about.json", "dictionary.csv", "everything.xlsx"]
    assert sorted(names) == sorted([*listed, *photos, *rest])
    assert len(photos) > Photo.objects.count() + ArrivalPhoto.objects.count() > 0  # cabinets and receipts have some too
    assert head == "\ufeffid,code,model_id,serial,price_cents,status,photo,notes"
    assert about["rows"]["machine"] == Machine.objects.count()
    assert "argon2" not in demo.decode("latin-1")


def test_workbook_opens_and_says_the_same(demo):
    with ZipFile(io.BytesIO(demo)) as archive:
        book = load_workbook(io.BytesIO(archive.read("everything.xlsx")), read_only=True)
    cabinets = list(book["machine"].iter_rows(values_only=True))
    first = Machine.objects.select_related("model").order_by("pk").first()
    assert cabinets[0][:5] == ("ID", "code", "model", "serial", "price per play")
    assert cabinets[1][:4] == (first.pk, first.code, first.model.name, first.serial or None)
    assert cabinets[1][4] == first.price_cents / 100
    assert book.sheetnames == ["what is what", *(table.name[:31] for table in queries.tables())]


@pytest.mark.skipif(
    not shutil.which("soffice"), reason="LibreOffice is not installed: nothing but openpyxl opened the workbook"
)
def test_workbook_opens_in_libreoffice(demo, tmp_path):
    with ZipFile(io.BytesIO(demo)) as archive:
        archive.extract("everything.xlsx", tmp_path)
    sheet = [table.name for table in queries.tables()].index("machine") + 2
    form = f"csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,{sheet}"
    command = ["soffice", "--headless", f"-env:UserInstallation=file://{tmp_path}/profile", "--convert-to", form]
    done = subprocess.run(
        [*command, "--outdir", tmp_path, tmp_path / "everything.xlsx"], capture_output=True, text=True, timeout=180
    )
    assert done.returncode == 0, done.stderr
    lines = (tmp_path / "everything-machine.csv").read_text().splitlines()
    assert len(lines) == Machine.objects.count() + 1
    assert lines[1].split(",")[1] == Machine.objects.order_by("pk").first().code


def test_every_model_is_taken_out_or_stays_for_a_reason():
    labels = {model._meta.label for model in apps.get_models(include_auto_created=True)}
    out = {table.label for table in queries.tables()}
    stays = {label for label in queries.STAYS if label.count(".") == 1}
    assert out | stays == labels
    columns = {
        f"{table.label}.{field.attname}" for table in queries.tables() for field in table.model._meta.concrete_fields
    }
    assert {one for one in queries.STAYS if one.count(".") == 2} - columns == set()


def test_every_table_and_column_is_told_in_words():
    silent = [table.label for table in queries.tables() if table.words.startswith(f"{table.model.__name__}(")]
    assert silent == [], "Say in the model's docstring what a row of it is."
    unknown = [
        f"{table.label}.{column.name}"
        for table in queries.tables()
        for column in table.columns
        if column.inner.get_internal_type() not in KINDS
    ]
    assert unknown == [], "Say in rules_cells.KINDS how such a field is written down."
    names = [table.name for table in queries.tables()]
    assert len(names) == len(set(names)), "Two tables would be one file: give one a verbose_name."


def test_each_table_stands_after_those_it_refers_to():
    order = [table.model for table in queries.tables()]
    for table in queries.tables():
        targets = {one.refers for one in table.columns if one.refers in order} - {table.model}
        assert [one for one in targets if order.index(one) > order.index(table.model)] == []
