"""On the road: skips and ticks, from the page and from a phone, each counted once."""

import json
from datetime import timedelta
from uuid import UUID

import pytest
from django.urls import reverse

from machines.models import CabinetModel
from routeapp.models import LoadTick, Skip
from routeapp.planning import queries_load, queries_rounds
from routeapp.stock import actions as stock
from routeapp.stock.queries import contents
from tests import factories
from tests.planning.cast import MONDAY, a_round

pytestmark = pytest.mark.django_db


def note(one, number=1, *, minutes=0, **more):
    at = (MONDAY + timedelta(minutes=minutes)).isoformat()
    return {"id": str(UUID(int=number)), "round": str(one.pk), "at": at, **more}


def tick(route, one, number=1, *, on=True, pieces=30, **more):
    line, store = f"prize-{route.prizes[0].pk}", route.store.pk
    return note(one, number, kind="tick", line=line, on=on, pieces=pieces, from_place=store, **more)


def post(client, document):
    return client.post(reverse("sync-road"), {"document": json.dumps(document)})


def in_van(route):
    return contents([route.van.pk]).get(route.van.pk, {}).get(route.prizes[0].pk, 0)


def load(one):
    return queries_load.load_list(queries_rounds.shown([one])[0], MONDAY)


def test_tick_moves_prizes_to_the_van_once(route, hand_client, monday):
    one = a_round(route)
    assert [post(hand_client, tick(route, one)).status_code for _ in range(2)] == [201, 200]
    assert (in_van(route), LoadTick.objects.count()) == (30, 1)


def test_tick_with_a_used_id_and_another_content_clashes(route, hand_client, monday):
    one = a_round(route)
    post(hand_client, tick(route, one))
    assert post(hand_client, tick(route, one, pieces=31)).status_code == 409
    assert in_van(route) == 30


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_tick_and_its_undoing_come_to_the_same_in_either_order(route, hand_client, monday, order):
    one = a_round(route)
    both = [tick(route, one, 1, minutes=-9), tick(route, one, 2, on=False, minutes=-5)]
    for number in order:
        assert post(hand_client, both[number]).status_code == 201
    assert (in_van(route), [line.is_in for line in load(one).prizes]) == (0, [False, False])


def test_ticked_line_says_what_went_in(route, hand_client, monday):
    one = a_round(route)
    first = load(one).prizes[0]
    assert (first.text, first.pieces, first.detail) == ("Plush owl", 180, "from Store")

    post(hand_client, tick(route, one, pieces=first.pieces))

    after = load(one).prizes[0]
    assert (after.is_in, after.pieces, after.detail) == (True, 180, "of 180 wanted")


def test_ticked_line_still_says_what_is_short(route, hand_client, monday):
    one = a_round(route)
    post(hand_client, tick(route, one, pieces=150))

    ticked = load(one).prizes[0]

    assert (ticked.is_in, ticked.detail, ticked.warning) == (True, "of 180 wanted", "30 short")


def test_clock_that_is_fast_has_not_the_last_word(route, hand_client, monday):
    one = a_round(route)
    post(hand_client, tick(route, one, 1, minutes=60 * 24))
    assert LoadTick.objects.get().at == MONDAY


def test_skip_is_kept_with_its_reason_and_can_be_taken_up_again(route, hand_client, monday):
    one = a_round(route)
    place = route.places[0]
    said = note(one, kind="skip", location=place.pk, reason="No parking")
    assert [post(hand_client, said).status_code for _ in range(2)] == [201, 200]
    assert [stop.state for stop in queries_rounds.shown([one])[0].stops] == ["skipped", "next", "ahead"]

    hand_client.post(reverse("round-unskip", args=[one.pk, place.pk]))
    assert [stop.state for stop in queries_rounds.shown([one])[0].stops] == ["next", "ahead", "ahead"]


def test_notes_about_somebody_else_s_round_are_refused(route, hand_client, monday):
    other = a_round(route, person=route.owner)
    answer = post(hand_client, note(other, kind="skip", location=route.places[0].pk, reason="No"))
    assert (answer.status_code, answer.json()) == (422, {"errors": {"round": "This is the round of somebody else."}})


@pytest.mark.parametrize(
    "broken",
    [
        {"kind": "skip", "location": 1, "reason": " "},
        {"kind": "tick", "line": "prize-0", "on": True},
        {"kind": "tick", "line": "prize-1", "on": "yes"},
        {"kind": "tick", "line": "trays", "on": True, "at": "9999-12-31T23:59:00Z"},
        {"kind": "bell"},
        {},
    ],
)
def test_broken_notes_are_refused_with_words(route, hand_client, monday, broken):
    answer = post(hand_client, {**note(a_round(route)), **broken})
    assert answer.status_code == 422
    assert all(answer.json()["errors"].values())
    assert (Skip.objects.count(), LoadTick.objects.count()) == (0, 0)


@pytest.mark.parametrize("text", ["", "[", "[]", "null", "[" * 100_000])
def test_what_is_no_note_is_refused(route, hand_client, text):
    assert hand_client.post(reverse("sync-road"), {"document": text}).status_code == 422


def test_buttons_tick_and_skip_without_a_script(route, hand_client, monday):
    one = a_round(route)
    form = {"uuid": str(UUID(int=5)), "line": "trays", "pieces": "3", "on": "on"}
    hand_client.post(reverse("round-tick", args=[one.pk]), form)
    skip = {"uuid": str(UUID(int=6)), "reason": "Closed"}
    hand_client.post(reverse("round-skip", args=[one.pk, route.places[0].pk]), skip)
    assert (LoadTick.objects.get().line, Skip.objects.get().reason) == ("trays", "Closed")


def test_phone_takes_the_order_and_the_load_list_along_and_no_money(route, hand_client, monday):
    one = a_round(route)
    route.places[0].address, route.places[0].access_notes = "3 Pier Walk\nQuay", "Ring twice"
    route.places[0].save()
    told = hand_client.get(reverse("sync-round", args=[one.pk]))
    body = told.json()["round"]
    assert [stop["name"] for stop in body["stops"]] == ["Pier hall", "Lamp arcade", "Kite café"]
    assert [stop["where"] for stop in body["stops"]] == [["3 Pier Walk, Quay", "Ring twice"], [], []]
    assert body["stops"][0]["phones"] == [["Mika Ode", "+1 555-0117", "tel:+15550117"]]
    assert ("cents" in told.content.decode(), "$" in told.content.decode()) == (False, False)


def test_reasons_on_the_road_tell_no_sums(route, hand_client, monday):
    CabinetModel.objects.update(prize_capacity=None)  # nobody's prizes are counted, so they are played on and on
    one = a_round(route)
    told = hand_client.get(reverse("sync-round", args=[one.pk])).json()["round"]
    assert [stop["why"] for stop in told["stops"]] == [["Much cash lies in its boxes."]] * 3
    for page in ("round-sheet", "due"):
        text = hand_client.get(reverse(page, args=[one.pk] if page != "due" else ())).content.decode()
        assert ("Much cash lies in its boxes." in text, "About $" in text) == (True, False)


def test_office_is_told_the_sums(route, owner_client, monday):
    CabinetModel.objects.update(prize_capacity=None)
    page = owner_client.get(reverse("due-place", args=[route.places[0].pk])).content.decode()
    assert "Much cash lies in its boxes. About $" in page


def test_short_prize_says_what_to_take_instead(route, hand_client, monday):
    owl = route.prizes[0]
    one = a_round(route)
    tick_all = tick(route, one, pieces=900)  # by somebody for another purpose: the store runs low
    post(hand_client, {**tick_all, "line": f"prize-{owl.pk}"})
    other = a_round(route, person=route.owner, number=2)
    short = load(other).prizes[0]
    assert (short.pieces, short.warning) == (100, "80 short: take 80 Tin robot instead")


def test_prize_of_another_kind_of_cabinet_is_not_taken_instead(route, hand_client, monday):
    owl, robot = route.prizes
    route.mix.lines.all().delete()
    stickers = factories.MachineFactory(model=factories.CabinetModelFactory(name="Sticker box", kind="sticker"))
    for machine, prize in [(stickers, robot), *((one, owl) for one in route.machines)]:
        move = {"prize": prize, "by": route.owner, "at": MONDAY, "received_at": MONDAY}
        stock.move(quantity=1, from_place=route.store, to_place=stock.cabinet_place(machine), **move)
    post(hand_client, tick(route, a_round(route), pieces=900))

    short = load(a_round(route, person=route.owner, number=2)).prizes[0]

    assert (short.text, short.warning) == (
        "Plush owl",
        "265 short and nothing like it lies about: load less at the last stops",
    )
