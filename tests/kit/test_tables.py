"""Lists are filtered, sorted, paged and taken out: told by the list of cabinets, which holds a bit of everything."""

import csv
import io
import re
from types import SimpleNamespace

import pytest
from django.core.paginator import UnorderedObjectListWarning
from django.template.loader import render_to_string
from django.urls import reverse

from machines.models import Machine
from routeapp.kit.tables import Column, Table
from tests.factories import CabinetModelFactory, LocationFactory, MachineFactory, PlacementFactory

TABLE = Table("rows", (Column("name", "Name", "name"), Column("many", "Many", "many", "count")))


@pytest.fixture
def several(db):
    pebble = CabinetModelFactory(name="pebble Twin", kind="capsule")
    for code, price, model in (("C-1", 50, None), ("C-2", 200, pebble), ("C-3", 100, None)):
        MachineFactory(code=code, price_cents=price, **({"model": model} if model else {}))
    stay = PlacementFactory(machine=Machine.objects.get(code="C-3"), location=LocationFactory(name="=Lantern Arcade"))
    Machine.objects.filter(pk=stay.machine_id).update(status="placed")


def shown(client, **asked):
    return [row.code for row in client.get(reverse("cabinets"), asked).context["table"].rows]


def file(client, **asked):
    answer = client.get(reverse("cabinets"), {**asked, "as": "csv"})
    assert answer.headers["Content-Disposition"] == 'attachment; filename="cabinets.csv"'
    return list(csv.reader(io.StringIO(answer.getvalue().decode("utf-8-sig"))))


@pytest.mark.parametrize(
    ("wish", "found"),
    [
        ("", ["C-1", "C-2", "C-3"]),
        ("code", ["C-1", "C-2", "C-3"]),
        ("-code", ["C-3", "C-2", "C-1"]),
        ("price", ["C-1", "C-3", "C-2"]),
        ("-price", ["C-2", "C-3", "C-1"]),
        ("model", ["C-1", "C-3", "C-2"]),
        ("-model", ["C-2", "C-1", "C-3"]),
        ("-location", ["C-3", "C-1", "C-2"]),
        ("nonsense", ["C-1", "C-2", "C-3"]),
        ("--code", ["C-1", "C-2", "C-3"]),
    ],
)
def test_rows_stand_in_the_order_asked_for(owner_client, several, wish, found):
    assert shown(owner_client, sort=wish) == found
    assert [row[0] for row in file(owner_client, sort=wish)[1:]] == found


def test_cabinet_is_found_by_where_it_stands(owner_client, several):
    assert shown(owner_client, q="lantern") == ["C-3"]


def test_file_holds_what_is_seen_and_no_formula(owner_client, several):
    assert file(owner_client, q="lantern") == [
        ["Cabinet", "Status", "Stands at", "Model", "Kind", "A play", "Serial"],
        ["C-3", "Placed", "'=Lantern Arcade", "Harbour Claw", "Prize claw", "1.00", ""],
    ]


def test_headings_say_the_order_and_lead_to_the_other(owner_client, several):
    page = owner_client.get(reverse("cabinets"), {"q": "c", "sort": "code", "page": "1"}).content.decode()
    heads = re.findall(r'<th scope="col"([^>]*)><a href="([^"]+)">([^<]+)</a>', page)
    assert heads[0] == (' aria-sort="ascending"', "?q=c&amp;sort=-code", "Cabinet ↑")
    assert heads[5] == (' class="n"', "?q=c&amp;sort=-price", "A play")
    assert "?q=c&amp;sort=code&amp;as=csv" in page


def test_long_list_is_paged_and_its_file_is_whole(owner_client, db):
    model = CabinetModelFactory()
    Machine.objects.bulk_create(Machine(code=f"C-{n:03}", model=model, price_cents=100) for n in range(120))
    assert [len(shown(owner_client, page=page)) for page in ("", "1", "2", "3", "9", "-1", "x", "9" * 30)] == [
        *(50, 50, 50, 20, 20, 50, 50, 50)
    ]
    assert len(file(owner_client, page="2")) == 121


def test_rows_from_elsewhere_are_filtered_and_sorted_alike():
    rows = [Row("Owl", 3), Row("ant", None), Row("Bear", 1)]
    names = lambda **asked: [row.name for row in TABLE.shown(asked, rows).rows]  # noqa: E731
    assert names(sort="name") == ["ant", "Bear", "Owl"]
    assert names(sort="-many") == ["Owl", "Bear", "ant"]
    assert names(sort="many") == ["Bear", "Owl", "ant"]
    assert names(q="OW") == ["Owl"]


def test_endless_list_is_neither_counted_nor_sorted(django_assert_num_queries, db):
    MachineFactory.create_batch(3)
    table = Table("all", (Column("code", "Cabinet", "code"),), rows_a_page=2, endless=True)
    with django_assert_num_queries(1):
        first = table.shown({"sort": "-code"}, Machine.objects.order_by("pk"))
    assert ([row.code for row in first.rows], first.count, first.after) == (
        list(Machine.objects.order_by("pk").values_list("code", flat=True)[:2]),
        None,
        2,
    )


class Row:
    def __init__(self, name, many):
        self.name, self.many = name, many


@pytest.mark.django_db
def test_rows_in_no_order_are_a_mistake():
    with pytest.raises(UnorderedObjectListWarning, match="rows in no order"):
        TABLE.shown({}, Machine.objects.order_by())


def test_rows_from_elsewhere_go_by_what_a_column_says_and_those_without_it_stand_last():
    rows = [SimpleNamespace(name=name, part=part) for name, part in (("a", 5.4), ("b", None), ("c", 12.6))]
    part = Column("part", "Part", "part", "percent", order=lambda row: row.part and -row.part)
    table = Table("parts", (Column("name", "Name", "name"), part))

    def order(wish):
        return [row.name for row in table.shown({"sort": wish}, rows).found]

    assert (order("part"), order("-part")) == (["c", "a", "b"], ["a", "c", "b"])
    shown = table.shown({}, rows)
    cells = [render_to_string("parts/_cell.html", {"cell": row[1]}).strip() for _, row in shown.cells()]
    assert (cells, part.is_figure) == (["5 %", "–", "13 %"], True)
    assert list(shown.lines()) == [["Name", "Part"], ["a", 5.4], ["b", None], ["c", 12.6]]
