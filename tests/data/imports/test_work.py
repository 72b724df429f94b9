"""A run and its end: taking it back, twice-sent forms, stops, and work that goes on by itself."""

import os
import threading
import time
import uuid
from pathlib import Path

import pytest

from locations.models import Agreement, Location, Placement
from machines.models import Machine
from routeapp.data.imports import actions
from routeapp.data.imports.models import Brought, SheetImport
from routeapp.kit.errors import Refused
from routeapp.kit.progress import path_of
from routeapp.models import Holding, Prize, Visit
from tests import factories
from tests.data.imports.desk import Desk, csv_file
from tests.data.imports.test_route import CABINETS, VISITS
from tests.visits.books import purse_balances

PRIZES = "Prize,Qty,Unit cost\nPlush otter,120,1.25\n"


def test_taking_all_of_it_back(desk):
    before = purse_balances()
    desk.bring(csv_file(CABINETS))
    first = desk.id
    desk.bring(csv_file(VISITS))
    desk.undo()

    assert desk.result["undone"] == {"bags": 1, "visits": 2}
    assert Visit.objects.live().filter(void=False).count() == 0
    assert purse_balances() == before

    desk.id = first
    desk.undo()
    assert desk.result["undone"] == {
        "agreements": 2, "placements": 3, "cabinets": 3, "contacts": 1, "locations": 2,
    }  # fmt: skip
    assert desk.result["kept"] == ["2 models, 2 hosts: kept, as they cost nothing and are used again."]
    assert set(Machine.objects.values_list("status", flat=True)) == {"scrapped"}
    assert not Placement.objects.filter(ended_at=None).exists()
    assert not Location.objects.filter(closed_on=None).exists()
    assert not Agreement.objects.live().exists()


def test_what_was_taken_back_can_be_brought_again(desk):
    for _ in range(2):
        desk.bring(csv_file(CABINETS))
        cabinets = desk.id
        desk.bring(csv_file(PRIZES))
        prizes = desk.id
        desk.bring(csv_file(VISITS))
        for each in (desk.id, prizes, cabinets):
            desk.id = each
            desk.undo()
    for text in (CABINETS, PRIZES, VISITS):
        desk.bring(csv_file(text))
        assert (desk.one.state, desk.result["problem_count"]) == ("done", 0)

    assert set(Machine.objects.values_list("status", flat=True)) == {"placed"}
    assert Visit.objects.live().filter(void=False).count() == 2
    assert Holding.objects.get(place__kind="store").pieces == 120
    assert not Prize.objects.get().retired


def test_stock_goes_back(desk):
    desk.bring(csv_file(PRIZES))
    desk.undo()

    assert Holding.objects.get().pieces == 0
    assert Prize.objects.get().retired


def test_what_others_use_meanwhile_is_kept_and_named(desk):
    desk.bring(csv_file(CABINETS))
    first = desk.id
    desk.bring(csv_file(VISITS))
    desk.id = first
    desk.undo()

    assert desk.result["kept"][:4] == [
        "C-102 at Tidewater Diner stays: it was visited since.",
        "C-101 at Tidewater Diner stays: it was visited since.",
        "Cabinet C-102 stays: it is used since.", "Cabinet C-101 stays: it is used since.",
    ]  # fmt: skip
    assert list(Machine.objects.values_list("code", "status")) == [
        ("C-101", "placed"), ("C-102", "placed"), ("C-103", "scrapped"),
    ]  # fmt: skip


def test_filled_columns_are_emptied_unless_changed_since(desk):
    desk.bring(csv_file("Code,Model,Price\nC-101,Harbour Claw,1\nC-102,Harbour Claw,1\n"))
    desk.bring(csv_file("Code,Serial\nC-101,HC-7\nC-102,HC-8\n"))
    Machine.objects.filter(code="C-102").update(serial="HC-8b")
    desk.undo()

    assert list(Machine.objects.values_list("code", "serial")) == [("C-101", ""), ("C-102", "HC-8b")]


def test_undo_twice_is_one(desk):
    desk.bring(csv_file(PRIZES))
    desk.undo()
    once = (Brought.objects.filter(retired_at__isnull=False).count(), desk.one.undone_at)
    desk.undo()

    assert (Brought.objects.filter(retired_at__isnull=False).count(), desk.one.undone_at) == once


def test_the_same_form_twice_is_one_file(desk):
    desk.upload(csv_file(PRIZES))
    desk.client.post("/imports/", {"uuid": str(desk.id), "file": csv_file(PRIZES)})

    assert SheetImport.objects.count() == 1


def test_bringing_twice_brings_once(desk):
    desk.bring(csv_file(PRIZES))
    desk.client.post(desk.address("bring/"))

    assert Holding.objects.get().pieces == 120


def test_unchecked_file_is_not_brought(desk, owner, noon):
    desk.upload(csv_file(PRIZES))
    with pytest.raises(Refused, match="Columns to be looked at".lower()):
        actions.start(sheet_import=desk.one, work="bringing", by=owner, at=noon)


def test_columns_are_remembered_for_the_next_file(desk):
    desk.check(csv_file("Thing,How many\nPlush otter,12\n"), s0_c0="prize", s0_c1="pieces")
    desk.upload(csv_file("Thing,How many\nGlow ring,40\n"))
    page = desk.client.get(desk.address("columns/"))

    assert [field.value() for field, _ in page.context["sheets"][0].bound_columns()] == ["prize", "pieces"]
    assert "Columns as you said for such a file" in page.content.decode()


@pytest.mark.parametrize(
    ("said", "problem"),
    [
        ({"s0_c0": "code", "s0_c1": "code", "s0_c2": ""},
         "Two columns mean “Cabinet&#x27;s code”. Leave one of them out."),
        ({"s0_c0": "", "s0_c1": "", "s0_c2": ""}, "Say of at least one column what it means, or leave the sheet out."),
        ({"s0_c0": "", "s0_c1": "code", "s0_c2": "cash"},
         "Money and readings need the day of the visit: say which column holds it."),
        ({"s0_c0": "visited_on", "s0_c1": "", "s0_c2": "cash"},
         "A visit needs its cabinet: say which column holds the code."),
        ({"s0_take": None}, "Choose at least one sheet to take."),
    ],
)  # fmt: skip
def test_meanings_that_cannot_be(desk, said, problem):
    desk.upload(csv_file("A,B,C\n2025-03-03,C-101,40\n"))
    answer = desk.columns(**{"s0_take": "on", **said})

    assert answer.status_code == 422
    assert problem in answer.content.decode()


def test_a_run_that_the_server_did_not_survive_says_so(desk):
    desk.check(csv_file(PRIZES))
    SheetImport.objects.update(state="bringing")
    quiet = path_of(desk.one)
    quiet.write_text("{}")
    assert "goes on" in desk.page()

    os.utime(quiet, (time.time() - 61,) * 2)
    assert "look whether it is in the books. If not, start again." in desk.page()
    desk.columns()
    desk.bring()
    assert desk.one.state == "done"


@pytest.mark.django_db(transaction=True)
def test_a_large_file_goes_on_by_itself(client):
    client.force_login(factories.person("ines", "owner"), backend="django.contrib.auth.backends.ModelBackend")
    desk = Desk(client)
    filler = "x" * 2000
    text = "Prize,Qty,About\n" + "".join(f"Prize {n},{n + 1},{filler}\n" for n in range(40))
    desk.upload(csv_file(text))
    desk.columns()
    assert threads() == 1
    wait_for(desk, "checked")
    desk.client.post(desk.address("bring/"))
    wait_for(desk, "done")

    assert desk.result["made"] == {"prizes": 40, "stores": 1, "stock entries": 40}


def threads():
    return sum(one.name == "work on a file" for one in threading.enumerate())


def wait_for(desk, state):
    for _ in range(200):
        if desk.one.state == state and not threads():
            return
        time.sleep(0.05)
    raise AssertionError(f"It is {desk.one.state} and not {state}.")


def test_no_such_import(owner_client):
    for what in ("", "columns/"):
        assert owner_client.get(f"/imports/{uuid.uuid4()}/{what}").status_code == 404


def test_file_that_is_gone_is_told_and_what_it_brought_can_be_taken_back(desk):
    desk.bring(csv_file(PRIZES))
    path = Path(desk.one.file.path)
    path.unlink()
    answer = desk.client.get(desk.address("columns/"), follow=True)
    assert [str(said) for said in answer.context["messages"]] == ["The file is gone. Send it again."]
    desk.undo()
    assert desk.one.state == "undone"
    assert desk.answer().context["form"].non_field_errors() == ["The file is gone. Send it again."]


def test_check_of_a_file_that_is_gone_comes_to_nothing_in_words(desk):
    desk.check(csv_file(PRIZES))
    Path(desk.one.file.path).unlink()
    desk.bring()
    assert (desk.one.state, "The file is gone. Send it again." in desk.page()) == ("checked", True)
