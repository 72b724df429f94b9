"""What players won is known from the prizes meter where nobody counted, through visits and pages."""

from datetime import timedelta
from html import unescape
from uuid import uuid4

import pytest

from locations.placements.models import Placement
from routeapp.books.queries_checklist import checklist
from routeapp.models import Holding, StockMove
from routeapp.stock import actions as stock
from routeapp.stock.models import PlaceKind
from routeapp.visits import queries
from routeapp.visits.actions_assign import MeterShown, take_away
from tests import factories
from tests.visits.books import (
    FOREVER,
    START,
    add_prizes_meter,
    document,
    entry,
    make_world,
    record,
    some_id,
    stock_balances,
)
from tests.visits.test_sync import send

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    return add_prizes_meter(make_world(owner), shown=990)


def stop(world, name, days, **said):
    return document(world, name, days=days, entries=[entry(world, name, **said)])


def told(world, *stops):
    """Record visits, each of (days, what was done) and named by its day."""
    for days, said in stops:
        record(world, stop(world, f"{days}", days, **said))


def won(world):
    """(day, prizes won, what those cost) of each visit to the cabinet with the meter."""
    shown = queries.figures([world.out.machine_id], factories.LONG_AGO, FOREVER)
    return [((one.entry.at - START).days, one.prizes_won, one.prize_cost) for one in shown]


def inside(world):
    held = Holding.objects.filter(place__machine=world.out.machine_id).exclude(pieces=0)
    return dict(held.values_list("prize__name", "pieces"))


def lost():
    return sum(pieces for (place, _), pieces in stock_balances().items() if place == "Shrinkage")


def page_of(client, name):
    shown = client.get(f"/visits/{some_id(name)}/")
    return " ".join(unescape(shown.content.decode()).split())


def test_a_cabinet_that_is_refilled_and_never_counted_holds_what_its_meter_leaves(world, hand_client):
    # The meter has three digits: from 990 it goes past its last number.
    for days, shown, loaded in ((0, 990, 30), (1, 997, 7), (2, 3, 6), (3, 8, 0)):
        said = entry(world, f"{days}", out=shown, loaded={0: loaded} if loaded else None)
        assert send(hand_client, document(world, f"{days}", days=days, entries=[said])).status_code == 201

    assert won(world) == [(0, 0, 0), (1, 7, 560), (2, 6, 480), (3, 5, 400)]  # an owl cost 0.80
    assert inside(world) == {"Plush owl": 25}
    assert '<dt>Prizes won</dt><dd class="n">7 by the meter' in page_of(hand_client, "1")
    cabinet = hand_client.get(f"/cabinets/{world.out.machine.code}/").content.decode()
    assert cabinet.count("prizes won by the meter") == 3


def test_never_counted_for_months(world):
    told(world, (0, {"out": 990, "loaded": {0: 40, 1: 20}}))
    for week in range(1, 27):
        told(world, (7 * week, {"out": (990 + 9 * week) % 1000, "loaded": {0: 6, 1: 3}}))

    assert [pieces for _, pieces, _ in won(world)] == [0] + [9] * 26
    assert inside(world) == {"Plush owl": 40, "Tin robot": 20}
    assert lost() == 0


def test_a_late_visit_shares_out_what_was_won_by_when_it_happened(world):
    told(world, (0, {"out": 990, "loaded": {0: 30}}), (3, {"out": 2, "loaded": {1: 10}}))
    assert won(world) == [(0, 0, 0), (3, 12, 960)]

    told(world, (1, {"out": 994, "loaded": {1: 13}}))

    # After 4 of 30 owls there are 26 beside 13 robots, so that of the other eight 5.33 are owls.
    assert won(world) == [(0, 0, 0), (1, 4, 320), (3, 8, 640)]
    assert inside(world) == {"Plush owl": 30 - 4 - 5, "Tin robot": 13 - 3 + 10}


def test_a_corrected_reading_and_a_withdrawn_visit_leave_the_books_as_if_they_had_been_right(world, owner):
    start, end = (0, {"out": 990, "loaded": {0: 30}}), (3, {"out": 999})
    told(world, start, (1, {"out": 998}), (2, {"out": 999}), end)
    right = {"replaces": some_id("1"), "reason": "misread"}
    record(world, stop(world, "right", 1, out=993) | right)
    gone = {"replaces": some_id("2"), "void": True, "reason": "never was", "entries": []}
    record(world, stop(world, "gone", 2) | gone)

    assert won(world) == [(0, 0, 0), (1, 3, 240), (3, 6, 480)]
    assert inside(world) == {"Plush owl": 21}


def test_a_reading_that_the_next_one_calls_wrong_is_taken_back(world):
    told(world, (0, {"out": 990, "loaded": {0: 30}}), (1, {"out": 998}))
    assert won(world)[-1] == (1, 8, 640)

    told(world, (2, {"out": 995, "explained": "last_was_wrong"}))

    assert [pieces for _, pieces, _ in won(world)] == [0, 0, 5]


def test_many_readings_in_a_row_that_call_the_one_before_wrong_take_it_back(world):
    told(world, (0, {"out": 990, "loaded": {0: 30}}), (1, {"out": 999}))

    told(world, *((day, {"out": 990 + day % 5, "explained": "last_was_wrong"}) for day in range(2, 9)))

    assert [pieces for _, pieces, _ in won(world)] == [0] * 8 + [3]
    assert inside(world) == {"Plush owl": 27}


def test_what_nobody_can_tell_is_left_out_until_somebody_explains_it(world):
    told(world, (0, {"out": 990, "loaded": {0: 30}}), (1, {"out": 700}))
    assert (inside(world), won(world)[-1]) == ({"Plush owl": 30}, (1, 0, 0))

    amends = {"replaces": some_id("1"), "reason": "it was set back"}
    record(world, stop(world, "right", 1, out=4, explained="reset") | amends)

    assert (inside(world), won(world)[-1]) == ({"Plush owl": 26}, (1, 4, 320))


def test_counted_later_the_metered_ones_stay_won_and_the_rest_is_missing(world, hand_client):
    told(world, (0, {"out": 990, "loaded": {0: 30}}), (1, {"out": 997}))

    told(world, (2, {"out": 999, "found": {0: 18}}))

    assert (won(world)[1:], lost()) == ([(1, 7, 560), (2, 2, 160)], 3)
    assert '<dt>Prizes missing</dt><dd class="n">3 that the meter does not call won' in page_of(hand_client, "2")


def test_counted_later_with_more_inside_than_the_meter_left_they_are_over(world, hand_client):
    told(world, (0, {"out": 990, "loaded": {0: 30}}), (1, {"out": 997}))

    told(world, (2, {"out": 997, "found": {0: 25}}))

    assert (won(world)[1:], lost()) == ([(1, 7, 560), (2, 0, 0)], -2)
    assert '<dt>Prizes over</dt><dd class="n">2 more than the books had' in page_of(hand_client, "2")


def test_a_count_says_which_prizes_the_meter_counted(world):
    told(world, (0, {"out": 990, "loaded": {0: 20, 1: 20}}), (1, {"out": 0}))
    assert inside(world) == {"Plush owl": 15, "Tin robot": 15}

    told(world, (2, {"out": 2, "found": {0: 9, 1: 19}}))

    assert inside(world) == {"Plush owl": 9, "Tin robot": 19}
    players = {prize: pieces for (place, prize), pieces in stock_balances().items() if place == "Players"}
    assert (players, lost()) == ({"Plush owl": 11, "Tin robot": 1}, 0)


def test_the_page_says_when_the_meter_tells_more_than_was_inside(world, hand_client):
    told(world, (0, {"out": 990, "loaded": {0: 4}}), (1, {"out": 996}))

    assert won(world)[-1] == (1, 4, 320)
    assert "The meter says 6</span> No more were inside by the books." in page_of(hand_client, "1")

    told(world, (0.5, {"loaded": {0: 5}}))  # the load that was not written down

    assert won(world)[-1] == (1, 6, 480)
    assert "The meter says 6" not in page_of(hand_client, "1")


def test_a_replaced_meter_tells_what_was_won_until_then_and_counts_anew(world, hand_client):
    told(world, (0, {"out": 990, "loaded": {0: 30}}))
    sent = {"closing": "998", "digits": "4", "opening": "50", "at": "2026-03-03T10:00"}
    answer = hand_client.post(f"/meters/{world.out.pk}/replace/", sent)
    assert answer.status_code == 302, answer.context["form"].errors
    assert inside(world) == {"Plush owl": 22}

    world.out = world.out.replaced_by
    told(world, (2, {"out": 53}))

    assert (inside(world), won(world)[-1]) == ({"Plush owl": 19}, (2, 3, 240))


def test_a_cabinet_that_leaves_tells_what_was_won_until_then(world, owner):
    told(world, (0, {"out": 990, "loaded": {0: 30}}))
    stay, at = Placement.objects.get(machine=world.out.machine_id), START + timedelta(days=2)
    shown = [MeterShown(world.out, 995)]
    take_away(placement=stay, next_status="spare", readings=shown, by=owner, at=at, received_at=at)

    assert inside(world) == {"Plush owl": 25}


def test_test_plays_raise_no_question_about_prizes(world, hand_client):
    told(world, (0, {"out": 990, "loaded": {0: 30}}))
    machine = world.out.machine_id
    fields = {f"reading_{world.out.pk}": 991, "tests": 3, "tests_first": "on"}
    data = {"id": str(uuid4()), "arrived_at": "2026-03-20T10:00", "cabinet": [machine]}
    data |= {f"c{machine}-{name}": value for name, value in fields.items()}

    assert hand_client.post(f"/visits/new/{world.location.pk}/", data).status_code == 302
    assert inside(world) == {"Plush owl": 29}


def test_a_metered_cabinet_is_no_point_of_the_months_checklist(world):
    march = (START.date().replace(day=1), FOREVER)
    told(world, (0, {"loaded": {0: 30}}))
    uncounted = "Cabinets with prizes neither counted nor metered"
    assert {one.what: one.many for one in checklist(*march)}[uncounted] == 1

    told(world, (1, {"out": 990}))

    assert {one.what: one.many for one in checklist(*march)}[uncounted] == 0


def test_a_delivery_told_late_changes_what_metered_prizes_cost(world, owner):
    told(world, (0, {"out": 990, "loaded": {0: 30}}), (1, {"out": 997}))
    ends = {"from_place": stock.beyond(PlaceKind.SUPPLIER), "to_place": world.store}
    dear = {"prize": world.prizes[0], "quantity": 500, "cost_cents": 60_000, "at": START - timedelta(days=20)}

    stock.move(**dear, **ends, by=owner, received_at=FOREVER)

    assert won(world)[-1] == (1, 7, 700)


def test_books_from_before_meters_told_of_prizes_go_by_them_from_the_next_visit_on(world):
    told(world, (0, {"out": 990, "loaded": {0: 30}}), (1, {"out": 997}))
    [metered] = StockMove.objects.exclude(metered=None)  # as it was without
    Holding.objects.filter(place=metered.from_place, prize=metered.prize).update(pieces=30)
    metered.delete()

    told(world, (2, {"out": 3}))

    assert won(world) == [(0, 0, 0), (1, 0, 0), (2, 6, 480)]
    assert inside(world) == {"Plush owl": 24}
