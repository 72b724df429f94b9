"""Deliveries, counts and moves by hand: what the forms do, twice sent, wrong, or taken back."""

from uuid import UUID, uuid4

import pytest
from django.contrib.admin.models import LogEntry
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from routeapp.stock import actions, queries, queries_overview
from routeapp.stock.actions_goods import add_place, make_mix
from routeapp.stock.models import Delivery, PlaceKind, Prize, StockCount, StockMove
from tests import factories
from tests.stock.papers import carry, count, deliver


@pytest.fixture
def store(owner, noon):
    return add_place(kind="store", name="Back room", by=owner, at=noon)


@pytest.fixture
def van(owner, route_hand, noon):
    return add_place(kind="van", name="Blue van", person=route_hand, by=owner, at=noon)


@pytest.fixture
def bear(db):
    return factories.PrizeFactory(name="Bear")


def held(place):
    return queries.contents([place.pk]).get(place.pk, {})


def delivery(store, *lines, **more):
    """What the form of a delivery posts; each line has prize, new name, pieces and cost."""
    names = ("prize", "new_name", "pieces", "cost_cents")
    typed = {
        f"line-{row}-{name}": value for row, line in enumerate(lines) for name, value in zip(names, line, strict=True)
    }
    management = {"line-TOTAL_FORMS": len(lines), "line-INITIAL_FORMS": 0}
    return {"uuid": uuid4(), "supplier": "Hill & Dale", "to_place": store.pk, **management, **typed, **more}


def test_page_of_a_delivery_asks_for_the_prizes_once(owner_client, store, bear):
    with CaptureQueriesContext(connection) as asked:
        owner_client.get(reverse("delivery-add"))

    asks = sum(one["sql"].startswith('SELECT "routeapp_prize"') for one in asked)
    assert asks <= 1  # PostgreSQL asks by a cursor, which is not seen


def said(response):
    return [str(message) for message in response.context["messages"]]


def test_delivery_brings_known_and_new_prizes_into_the_store(owner_client, store, bear):
    owner_client.post(
        reverse("delivery-add"),
        delivery(store, (bear.pk, "", "100", "220.00"), ("", "Ring", "40", "8"), ("", "", "", ""), paper="A 17"),
    )

    ring = Prize.objects.get(name="Ring")
    assert held(store) == {bear.pk: 100, ring.pk: 40}
    assert ring.supplier == "Hill & Dale"
    assert [line.unit_cents for line in queries_overview.overview().lines] == [220, 20]


def test_delivery_sent_twice_is_one(owner_client, store, bear):
    typed = delivery(store, (bear.pk, "", "100", "220.00"))

    first = owner_client.post(reverse("delivery-add"), typed)
    second = owner_client.post(reverse("delivery-add"), typed)

    assert first.url == second.url
    assert (Delivery.objects.count(), held(store)) == (1, {bear.pk: 100})


def test_name_of_a_prize_that_is_there_already_makes_no_second_one(owner_client, store, bear):
    owner_client.post(reverse("delivery-add"), delivery(store, ("", "bear", "5", "10")))

    assert (Prize.objects.count(), held(store)) == (1, {bear.pk: 5})


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (("", "", "", ""), "at least one line"),
        (("", "Ring", "", "5"), "This field is required"),
        (("", "Ring", "0", "5"), "The least that makes sense here is 1"),
        (("", "Ring", "-3", "5"), "The least that makes sense here is 1"),
        (("", "Ring", "2.5", "5"), "Enter a whole number"),
        (("", "Ring", "9" * 30, "5"), "The most that makes sense"),
        (("", "Ring", "4", ""), "This field is required"),
        (("", "Ring", "4", "-1"), "The least that makes sense"),
        (("", "Ring", "4", "9" * 13), "is not an amount"),
        (("", "Ri\x00ng", "4", "5"), "Null characters"),
        (("987654", "", "4", "5"), "Select a valid choice"),
        (("", "", "4", "5"), "one of both"),
    ],
)
def test_line_that_cannot_be_meant_is_explained_and_nothing_is_written(owner_client, store, bear, line, words):
    lines = [(bear.pk, "", "1", "1"), line] if any(line) else [line]

    response = owner_client.post(reverse("delivery-add"), delivery(store, *lines))

    assert response.status_code == 422
    assert words in response.content.decode()
    assert (Delivery.objects.count(), StockMove.objects.count()) == (0, 0)


@pytest.mark.parametrize(
    "wrong",
    [{"uuid": "x"}, {"to_place": "987654"}, {"at": "2999-01-01T00:00"}, {"at": "0001-01-01T00:00"}, {"at": "soon"}],
)
def test_delivery_with_a_wrong_head_is_explained(owner_client, store, bear, wrong):
    response = owner_client.post(reverse("delivery-add"), delivery(store, (bear.pk, "", "1", "1"), **wrong))

    assert response.status_code == 422
    assert Delivery.objects.count() == 0


@pytest.mark.parametrize(
    "management", [{"line-TOTAL_FORMS": "x"}, {"line-TOTAL_FORMS": "99999"}, {"line-TOTAL_FORMS": ""}]
)
def test_delivery_whose_lines_were_tampered_with_is_explained(owner_client, store, bear, management):
    response = owner_client.post(reverse("delivery-add"), delivery(store, (bear.pk, "", "1", "1"), **management))

    assert response.status_code == 422


def test_withdrawn_delivery_leaves_pieces_and_costs_as_if_it_had_never_come(owner_client, owner, store, bear, noon):
    deliver(store, [(bear, 10, 1000)], owner, noon)
    wrong = deliver(store, [(bear, 90, 90000)], owner, noon.replace(hour=13))

    owner_client.post(reverse("delivery-withdraw", args=[wrong.uuid]))
    again = owner_client.post(reverse("delivery-withdraw", args=[wrong.uuid]), follow=True)

    line = queries_overview.overview().lines[0]
    assert (line.pieces, line.unit_cents) == (10, 100)
    assert said(again) == [
        "Withdrawn: the prizes are out of the books again, and the costs as before.",
        "This delivery was withdrawn already.",
    ]


def test_withdrawn_delivery_can_be_entered_again_from_what_it_said(owner_client, owner, store, bear, noon):
    wrong = deliver(store, [(bear, 90, 90000)], owner, noon)

    page = owner_client.get(reverse("delivery-add"), {"again": wrong.uuid})

    assert page.context["lines"].forms[0].initial == {"prize": bear.pk, "pieces": 90, "cost_cents": 90000}
    assert 'value="900.00"' in page.content.decode()


@pytest.mark.parametrize("again", ["x", "\x00", str(UUID(int=5)), ""])
def test_delivery_that_is_like_none_starts_empty(owner_client, store, again):
    assert owner_client.get(reverse("delivery-add"), {"again": again}).status_code == 200


def test_count_shows_what_the_books_say_beside_each_field(owner_client, owner, store, bear, noon):
    deliver(store, [(bear, 12, 1200)], owner, noon)

    page = owner_client.get(reverse("stock-count"), {"place": store.pk})

    assert page.context["form"].rows() == [(page.context["form"][f"prize-{bear.pk}"], 12)]
    assert "12 by the books" in page.content.decode()


def counted(store, **typed):
    return {"uuid": uuid4(), "reason": "", **typed}


def test_count_that_differs_asks_why_before_anything_is_written(owner_client, owner, store, bear, noon):
    deliver(store, [(bear, 12, 1200)], owner, noon)

    response = owner_client.post(
        f"{reverse('stock-count')}?place={store.pk}", counted(store, **{f"prize-{bear.pk}": "10"})
    )

    assert response.status_code == 422
    assert "Bear: 2 missing" in response.content.decode()
    assert (StockCount.objects.count(), held(store)) == (0, {bear.pk: 12})


def test_counted_difference_becomes_shrinkage_with_its_reason(owner_client, owner, store, bear, noon):
    deliver(store, [(bear, 12, 1200)], owner, noon)

    response = owner_client.post(
        f"{reverse('stock-count')}?place={store.pk}",
        counted(store, **{f"prize-{bear.pk}": "10", "reason": "wet box"}),
        follow=True,
    )

    move = StockMove.objects.get(settles__isnull=False)
    assert (move.quantity, move.to_place.kind, move.settles.reason) == (2, "shrinkage", "wet box")
    assert said(response) == ["Back room is counted: 2 Bear missing. The difference is booked as shrinkage."]


def test_count_sent_twice_is_one(owner_client, owner, store, bear, noon):
    deliver(store, [(bear, 12, 1200)], owner, noon)
    typed = counted(store, **{f"prize-{bear.pk}": "10", "reason": "wet box"})

    for _ in range(2):
        assert owner_client.post(f"{reverse('stock-count')}?place={store.pk}", typed).status_code == 302

    assert (StockCount.objects.count(), held(store)) == (1, {bear.pk: 10})


def test_what_is_missing_from_a_cabinet_was_won(owner_client, owner, store, bear, noon):
    machine = factories.MachineFactory(code="C-077")
    carry(store, actions.cabinet_place(machine), [(bear, 12)], owner, noon)

    response = owner_client.post(
        f"{reverse('stock-count')}?cabinet=c-077", counted(store, **{f"prize-{bear.pk}": "5"}), follow=True
    )

    assert StockMove.objects.get(settles__isnull=False).to_place.kind == "players"
    assert said(response) == ["Cabinet C-077 is counted: 7 Bear missing. Players won what is missing."]


def test_cabinet_nobody_filled_yet_can_be_counted(owner_client, bear):
    machine = factories.MachineFactory(code="C-077")

    opened = owner_client.get(reverse("stock-count"), {"cabinet": "C-077"})
    owner_client.post(f"{reverse('stock-count')}?cabinet=C-077", counted(None, **{f"prize-{bear.pk}": "5"}))

    assert opened.status_code == 200
    assert held(actions.cabinet_place(machine)) == {bear.pk: 5}


@pytest.mark.parametrize("pieces", ["-1", "1.5", "many", "9" * 30, "\x00", "100001"])
def test_count_that_cannot_be_meant_is_explained(owner_client, store, bear, pieces):
    response = owner_client.post(
        f"{reverse('stock-count')}?place={store.pk}", counted(store, **{f"prize-{bear.pk}": pieces})
    )

    assert response.status_code == 422
    assert StockCount.objects.count() == 0


def test_count_of_nothing_is_refused(owner_client, store, bear):
    response = owner_client.post(f"{reverse('stock-count')}?place={store.pk}", counted(store))

    assert "Nothing was counted yet" in response.content.decode()


def test_prizes_are_moved_by_prize_and_by_mix(owner_client, owner, store, van, bear, noon):
    ring = factories.PrizeFactory(name="Ring")
    mix = make_mix(name="Plush", lines=[(bear, 3), (ring, 2)], by=owner, at=noon)
    deliver(store, [(bear, 50, 100), (ring, 50, 100)], owner, noon)

    owner_client.post(
        f"{reverse('stock-move')}?place={store.pk}",
        {
            "uuid": uuid4(),
            "from_place": store.pk,
            "to_place": van.pk,
            "mix": mix.pk,
            "times": "4",
            f"prize-{bear.pk}": "1",
        },
    )

    assert held(van) == {bear.pk: 13, ring.pk: 8}
    assert held(store) == {bear.pk: 37, ring.pk: 42}


def test_move_sent_twice_is_one(owner_client, store, van, bear):
    typed = {"uuid": uuid4(), "from_place": store.pk, "to_place": van.pk, f"prize-{bear.pk}": "5"}

    for _ in range(2):
        owner_client.post(f"{reverse('stock-move')}?place={store.pk}", typed)

    assert held(van) == {bear.pk: 5}


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({}, "Nothing was chosen yet"),
        ({"times": "2"}, "Say which mix"),
        ({"to_place": "store", "pieces": "1"}, "are there already"),
        ({"to_place": "987654", "pieces": "1"}, "Select a valid choice"),
        ({"from_place": "", "pieces": "1"}, "This field is required"),
        ({"pieces": "-1"}, "The least that makes sense here is 0"),
    ],
)
def test_move_that_cannot_be_meant_is_explained(owner_client, store, van, bear, typed, words):
    filled = {"uuid": uuid4(), "from_place": store.pk, "to_place": van.pk, **typed}
    filled = {**filled, f"prize-{bear.pk}": filled.pop("pieces", "")}
    if filled["to_place"] == "store":
        filled["to_place"] = store.pk

    response = owner_client.post(f"{reverse('stock-move')}?place={store.pk}", filled)

    assert response.status_code == 422
    assert words in response.content.decode()
    assert StockMove.objects.count() == 0


def test_prizes_are_moved_to_any_place_but_the_one_they_lie_in(owner_client, store, van):
    form = owner_client.get(reverse("stock-move"), {"place": store.pk}).context["form"]
    assert form.fields["to_place"].widget.choices == [("", "Choose where to"), (van.pk, str(van))]


@pytest.mark.parametrize("address", ["stock-count", "stock-move"])
def test_place_is_chosen_first(owner_client, store, address):
    assert "Back room" in owner_client.get(reverse(address)).content.decode()


@pytest.mark.parametrize("address", ["stock-count", "stock-move"])
@pytest.mark.parametrize(
    ("asked", "status"),
    [({"place": "987654"}, 404), ({"place": "x"}, 404), ({"cabinet": "C-\x00999"}, 200), ({"place": ""}, 200)],
)
def test_place_that_is_not_there_is_said_so(owner_client, store, address, asked, status):
    assert owner_client.get(reverse(address), asked).status_code == status


def test_places_beyond_us_cannot_be_counted(owner_client):
    players = actions.beyond(PlaceKind.PLAYERS)

    assert owner_client.get(reverse("stock-count"), {"place": players.pk}).status_code == 404


def test_count_and_delivery_leave_a_line_in_the_log(owner, store, bear, noon):
    deliver(store, [(bear, 12, 1200)], owner, noon)
    count(store, [(bear, 12)], owner, noon)

    lines = LogEntry.objects.filter(user=owner).order_by("pk").values_list("change_message", "object_repr")
    assert list(lines)[-2:] == [
        ("took in a delivery", "Delivery from Hill & Dale"),
        ("counted the prizes in", "Back room"),
    ]
