"""A sheet whose rows name a cabinet beside the pieces of a prize: they are inside it, and in no store."""

import pytest

from routeapp.models import Holding, PrizeCost, StockMove
from routeapp.stock.actions import cabinet_place
from tests import factories
from tests.data.imports.desk import csv_file
from tests.stock.papers import count

pytestmark = pytest.mark.django_db
SHEET = """Cabinet,Model,Price,Prize,Prizes inside,Cost each
C-7,Nook Claw,1.00,Plush otter,60,2.50
C-7,Nook Claw,1.00,Ring,40,0.20
"""


def inside():
    rows = Holding.objects.exclude(pieces=0).values_list("place__name", "prize__name", "pieces")
    return sorted(rows)


FULL = [("Cabinet C-7", "Plush otter", 60), ("Cabinet C-7", "Ring", 40)]


def test_prizes_of_a_row_with_a_cabinet_are_inside_at_their_cost(desk):
    desk.bring(csv_file(SHEET))

    assert (desk.result["problem_count"], inside()) == (0, FULL)
    assert sorted(PrizeCost.objects.values_list("prize__name", "value_cents")) == [
        ("Plush otter", 15_000),
        ("Ring", 800),
    ]
    desk.bring(csv_file(SHEET))
    assert inside() == FULL
    assert StockMove.objects.count() == 2


def test_they_go_again_with_the_import(desk):
    desk.bring(csv_file(SHEET))
    desk.undo()
    assert inside() == []
    desk.bring(csv_file(SHEET))
    assert inside() == FULL


def test_row_that_names_a_store_too_lies_there(desk):
    factories.MachineFactory(code="C-7")
    desk.bring(csv_file("Cabinet,Prize,Pieces,Store\nC-7,Ring,40,Back room\n"))
    assert inside() == [("Back room", "Ring", 40)]


def test_cabinet_whose_prizes_were_counted_before_is_a_problem_of_its_row(desk, owner, noon):
    machine = factories.MachineFactory(code="C-7")
    count(cabinet_place(machine), [(factories.PrizeFactory(name="Ring"), 3)], owner, noon)
    desk.bring(csv_file("Cabinet,Prize,Pieces\nC-7,Ring,40\n"))
    (problem,) = desk.result["problems"]
    assert "By the books there were prizes in Cabinet C-7 from 1 June 2026" in str(problem)
    assert inside() == [("Cabinet C-7", "Ring", 3)]


def test_cabinet_is_filled_from_the_start_only_once(desk):
    factories.MachineFactory(code="C-7")
    days = "Date,Cabinet,Prize,Inside\n2026-03-01,C-7,Plush otter,20\n2026-03-01,C-7,Ring,9\n2026-03-08,C-7,Ring,5\n"
    desk.bring(csv_file(days))
    why = "Another row says what was in Cabinet C-7 on 1 March 2026. It can be brought once; leave this row out."
    assert desk.problems() == [(4, "", why)]


def test_what_the_same_file_brought_into_the_store_is_not_brought_into_a_cabinet_too(desk):
    factories.MachineFactory(code="C-7")
    file = "Cabinet,Prize,Inside\nC-7,Ring,40\n"
    desk.bring(csv_file(file), s0_c0="")
    desk.bring(csv_file(file), s0_c0="code")
    assert (desk.problems(), inside()) == ([], [("Store", "Ring", 40)])


def test_as_many_in_another_file_are_others(desk):
    factories.MachineFactory(code="C-7")
    desk.bring(csv_file("Prize,Pieces\nRing,40\n"))
    desk.bring(csv_file("Cabinet,Prize,Inside\nC-7,Ring,40\n"))
    assert inside() == [("Cabinet C-7", "Ring", 40), ("Store", "Ring", 40)]
