"""What was inside a cabinet when it came, written down at its cost before or after somebody counted."""

from datetime import date, timedelta
from uuid import UUID, uuid4

import pytest
from django.contrib.admin.models import LogEntry
from django.urls import reverse

from routeapp.books.queries_journal import chart
from routeapp.books.queries_worked import worked_out
from routeapp.books.rules_accounts import PAID_ELSEWHERE, PRIZES, PRIZES_LOST, PRIZES_WON
from routeapp.models import Delivery, Holding, Prize, StockMove
from routeapp.planning.queries_order import _delivered
from routeapp.stock import queries
from routeapp.stock.actions import cabinet_place
from tests import factories
from tests.stock.papers import count

JUNE = date(2026, 6, 1)


@pytest.fixture
def claw(db):
    return factories.MachineFactory(code="C-7")


@pytest.fixture
def tell(owner_client):
    """Send the form; each line has prize, new name, pieces and cost."""

    def send(*lines, code="C-7", at="2026-06-01T08:00", **more):
        names = ("prize", "new_name", "pieces", "cost_cents")
        typed = {
            f"line-{row}-{name}": said for row, line in enumerate(lines) for name, said in zip(names, line, strict=True)
        }
        form = {"uuid": uuid4(), "at": at, "line-TOTAL_FORMS": len(lines), "line-INITIAL_FORMS": 0, **typed, **more}
        return owner_client.post(f"{reverse('stock-inside')}?cabinet={code}", form)

    return send


FULL = (("", "Bear", "60", "150.00"), ("", "Ring", "40", "0"))


def books():
    found = worked_out(JUNE, chart())
    kinds = {"came": (PRIZES, PAID_ELSEWHERE), "won": (PRIZES_WON, PRIZES), "lost": (PRIZES_LOST, PRIZES)}
    return {name: found[accounts] for name, accounts in kinds.items() if found[accounts]}


def inside(machine):
    return {prize.name: pieces for prize, pieces in queries.inside([machine.pk]).get(machine.pk, [])}


def test_newcomer_writes_down_what_a_full_cabinet_held(owner_client, claw, tell):
    assert "By the books nothing is inside" in owner_client.get(reverse("cabinet", args=["C-7"])).text
    factories.MachineFactory(code="C-8", status="ordered")
    choose = owner_client.get(reverse("stock-inside"))
    assert [one.code for one in choose.context["cabinets"]] == ["C-7"]

    assert tell(*FULL).url == reverse("cabinet", args=["C-7"])

    assert (inside(claw), books()) == ({"Bear": 60, "Ring": 40}, {"came": 15_000})
    assert "By the books nothing is inside" not in owner_client.get(reverse("cabinet", args=["C-7"])).text
    assert list(owner_client.get(reverse("stock-inside")).context["cabinets"]) == []
    made = Delivery.objects.get()
    page = owner_client.get(reverse("delivery", args=[made.uuid])).text
    assert (str(made), "Cabinet C-7" in page) == ("Delivery with C-7", True)


def test_what_players_win_of_it_is_charged_at_its_cost(owner, noon, claw, tell):
    tell(*FULL)
    bear = Prize.objects.get(name="Bear")
    count(cabinet_place(claw), [(bear, 48)], owner, noon)
    assert books() == {"came": 15_000, "won": 12 * 250}


def test_count_that_came_first_is_put_right(owner, noon, claw, tell):
    bear = factories.PrizeFactory(name="Bear")
    count(cabinet_place(claw), [(bear, 60)], owner, noon)
    lost = StockMove.objects.filter(from_place__kind="shrinkage")
    assert lost.get().quantity == 60  # found too many

    tell((bear.pk, "", "60", "150.00"))

    assert (inside(claw), books()) == ({"Bear": 60}, {"came": 15_000})


def test_same_form_twice_is_one_and_a_second_is_refused(claw, tell):
    uuid = UUID(int=5)
    for _ in range(2):
        assert tell(*FULL, uuid=uuid).status_code == 302
    log = LogEntry.objects.filter(change_message="wrote down what was in from the start")
    assert list(log.values_list("object_repr", flat=True)) == ["Cabinet C-7"]
    again = tell(*FULL)
    assert again.status_code == 422
    assert "What was in Cabinet C-7 from the start is written down already. Withdraw that first." in again.text
    assert inside(claw) == {"Bear": 60, "Ring": 40}


def test_moment_at_which_prizes_were_known_inside_is_refused_and_an_earlier_one_offered(
    owner, owner_client, noon, claw, tell
):
    bear = factories.PrizeFactory(name="Bear")
    count(cabinet_place(claw), [(bear, 60)], owner, noon)
    late = tell((bear.pk, "", "60", "150.00"), at="2026-06-01T12:00")
    assert (late.status_code, "there were prizes in Cabinet C-7 from 1 June 2026, 12:00 on" in late.text) == (422, True)
    form = owner_client.get(f"{reverse('stock-inside')}?cabinet=C-7").context["form"]
    assert form["at"].initial == noon - timedelta(minutes=1)


def test_withdrawn_it_can_be_entered_again_without_its_mistake(owner_client, claw, tell):
    tell(*FULL)
    made = Delivery.objects.get()
    owner_client.post(reverse("delivery-withdraw", args=[made.uuid]))
    assert (inside(claw), books()) == ({}, {})
    page = owner_client.get(reverse("delivery", args=[made.uuid])).text
    again = f"{reverse('stock-inside')}?cabinet=C-7&amp;again={made.uuid}"
    assert again in page
    lines = owner_client.get(again.replace("&amp;", "&")).context["lines"].first_forms()
    assert [line["pieces"].value() for line in lines[:2]] == [60, 40]
    assert tell(*FULL).status_code == 302


@pytest.mark.parametrize("lines", [(), (("", "Bear", "60", ""),), (("", "Bear", "", "5"),), (("", "", "6", "5"),)])
def test_form_that_says_too_little_is_asked_again(claw, tell, lines):
    assert tell(*lines).status_code == 422
    assert Holding.objects.count() == 0


def test_cabinet_nobody_knows_is_told(owner_client, claw):
    page = owner_client.get(f"{reverse('stock-inside')}?cabinet=nope").text
    assert "There is no cabinet nope. Its code is on the label." in page


def test_what_came_inside_was_not_ordered(noon, claw, tell):
    tell(*FULL)
    assert _delivered(noon + timedelta(days=1), timedelta(days=30)) == []


def test_list_of_cabinets_asks_the_same_at_one_and_three(owner_client, claw, django_assert_max_num_queries):
    asked = []
    for code in ("C-8", "C-9"):
        with django_assert_max_num_queries(40) as seen:
            owner_client.get(reverse("stock-inside"))
        asked.append(len(seen))
        factories.MachineFactory(code=code)
        factories.MachineFactory(code=f"{code}b")
    assert asked[0] == asked[1]
