"""What have I, where, worth what: the overview and the moves behind its figures."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from routeapp.stock import queries_overview
from routeapp.stock.actions_goods import add_place, make_mix
from routeapp.stock.models import StockMove
from tests import factories
from tests.stock.papers import carry, count, deliver


@pytest.fixture
def store(owner, noon):
    return add_place(kind="store", name="Back room", by=owner, at=noon)


@pytest.fixture
def van(owner, route_hand, noon):
    return add_place(kind="van", name="Blue van", person=route_hand, by=owner, at=noon)


def test_overview_of_nothing_teaches_the_first_step(owner_client):
    page = owner_client.get(reverse("stock")).content.decode()

    assert "Take in the first prizes" in page


def test_worth_is_pieces_times_moving_average(owner_client, owner, store, noon):
    bear = factories.PrizeFactory(name="Bear")
    deliver(store, [(bear, 100, 20000)], owner, noon)
    deliver(store, [(bear, 50, 13000)], owner, noon.replace(hour=13))

    overview = queries_overview.overview()

    # 150 bears for $330.00 are $2.20 each.
    assert [(line.pieces, line.unit_cents, line.worth_cents) for line in overview.lines] == [(150, 220, 33000)]
    assert "$330.00" in owner_client.get(reverse("stock")).content.decode()


def test_worth_of_places_adds_up_to_the_whole(owner, store, van, noon):
    ring = factories.PrizeFactory(name="Ring")
    deliver(store, [(ring, 3, 100)], owner, noon)
    carry(store, van, [(ring, 1)], owner, noon.replace(hour=13))

    overview = queries_overview.overview()

    assert overview.worth_cents == 100
    assert [(place and place.name, pieces, worth) for place, pieces, worth in overview.columns] == [
        ("Back room", 2, 67),
        ("Blue van", 1, 33),
        (None, 0, 0),
    ]


def test_place_below_zero_takes_nothing_off_what_lies_elsewhere(owner, store, van, noon):
    bear = factories.PrizeFactory(name="Bear")
    deliver(store, [(bear, 10, 1805)], owner, noon)
    carry(van, store, [(bear, 4)], owner, noon.replace(hour=13))

    columns = queries_overview.overview().columns
    # 1.805 each: 14 are 25.27 and 4 are 7.22
    assert [(pieces, worth) for _, pieces, worth in columns] == [(14, 2527), (-4, -722), (0, 0)]


def test_prize_runs_low_by_what_could_be_loaded(owner, store, noon):
    bear = factories.PrizeFactory(name="Bear", low_at=10)
    deliver(store, [(bear, 12, 1200)], owner, noon)
    assert queries_overview.overview().low == []

    count(store, [(bear, 9)], owner, noon.replace(hour=13))

    assert [(line.prize, line.at_hand) for line in queries_overview.overview().low] == [(bear, 9)]


def test_stock_below_zero_is_worth_nothing_and_asks_for_a_count(owner_client, owner, store, van, noon):
    bear = factories.PrizeFactory(name="Bear")
    carry(van, store, [(bear, 5)], owner, noon)
    count(store, [(bear, 0)], owner, noon.replace(hour=13))

    overview = queries_overview.overview()

    assert [(line.pieces, line.worth_cents) for line in overview.lines] == [(-5, 0)]
    assert "count it" in owner_client.get(reverse("stock")).content.decode()


def test_van_that_gave_more_than_it_held_asks_for_a_count(owner_client, owner, store, van, noon):
    bear = factories.PrizeFactory(name="Bear")
    deliver(store, [(bear, 12, 1200)], owner, noon)
    carry(van, store, [(bear, 5)], owner, noon.replace(hour=13))

    ((_, cells),) = owner_client.get(reverse("stock")).context["table"].cells()

    assert [cell.value for cell in cells][1] == "count Blue van"


def test_filter_finds_words_of_prize_and_supplier(owner_client):
    factories.PrizeFactory(name="Green frog", supplier="Hill & Dale")
    factories.PrizeFactory(name="Bear")

    rows = owner_client.get(reverse("stock"), {"q": "hill FROG"}, headers={"HX-Request": "true"}).content.decode()

    assert "Green frog" in rows
    assert "Bear" not in rows
    assert "<html" not in rows


def test_figure_opens_down_to_who_moved_what_and_when(owner_client, owner, store, van, noon):
    bear = factories.PrizeFactory(name="Bear")
    deliver(store, [(bear, 12, 1200)], owner, noon)
    carry(store, van, [(bear, 5)], owner, noon.replace(hour=13))

    response = owner_client.get(reverse("stock-moves"), {"prize": bear.pk, "place": van.pk})

    assert [move.quantity for move in response.context["table"].rows] == [5]
    assert response.context["pieces"] == 5
    assert "Ines" in response.content.decode()


def test_moves_are_paged(owner_client, owner, store, van, noon):
    bear = factories.PrizeFactory(name="Bear")
    for _ in range(51):
        carry(store, van, [(bear, 1)], owner, noon)

    first = owner_client.get(reverse("stock-moves"), {"prize": bear.pk})
    second = owner_client.get(reverse("stock-moves"), {"prize": bear.pk, "page": 2})

    assert (len(first.context["table"].rows), first.context["table"].after) == (50, 2)
    assert (len(second.context["table"].rows), second.context["table"].after) == (1, 0)


@pytest.mark.parametrize("odd", ["x", "-1", "0", "9" * 40, "\x00", "1.5", "٣"])
@pytest.mark.parametrize("name", ["prize", "place", "kind", "page", "q"])
def test_unreadable_filters_count_as_not_chosen(owner_client, name, odd):
    assert owner_client.get(reverse("stock-moves"), {name: odd}).status_code == 200
    assert owner_client.get(reverse("stock"), {name: odd}).status_code == 200


@pytest.mark.parametrize("address", ["stock", "stock-moves", "mixes", "places", "deliveries"])
def test_lists_ask_the_same_number_of_questions_for_one_and_for_three(owner_client, owner, store, noon, address):

    def fill(number):
        prize, person = factories.PrizeFactory(), factories.person(f"driver{number}", "route hand")
        deliver(store, [(prize, 10, 1000)], owner, noon)
        van = add_place(kind="van", name=f"Van {number}", person=person, by=owner, at=noon)
        carry(store, van, [(prize, 1)], owner, noon)
        make_mix(name=f"Mix {number}", lines=[(prize, 2)], by=owner, at=noon)

    def asked():
        with CaptureQueriesContext(connection) as queries:
            owner_client.get(reverse(address))
        return len(queries)

    fill(1)
    one = asked()
    fill(2)
    fill(3)

    assert asked() == one


def test_moves_that_settle_a_count_say_why(owner_client, owner, store, noon):
    bear = factories.PrizeFactory(name="Bear")
    deliver(store, [(bear, 12, 1200)], owner, noon)
    count(store, [(bear, 10)], owner, noon.replace(hour=13), reason="wet box")

    page = owner_client.get(reverse("stock-moves"), {"prize": bear.pk}).content.decode()

    assert "wet box" in page
    assert StockMove.objects.filter(settles__isnull=False).get().quantity == 2
