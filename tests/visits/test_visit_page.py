"""Logging a stop on the visit page: one form, one document, questions before it is kept, corrections after."""

import io
from uuid import uuid4

import pytest
from PIL import Image

from machines.models import Fault, Reading, SettingsChange
from routeapp.cash import queries as cash
from routeapp.cash import queries_bag
from routeapp.models import Bag, CashMove, Mix, Photo, ServiceEntry, StockMove, Visit
from routeapp.stock import queries as stock
from routeapp.visits import queries
from tests.visits.books import FOREVER, document, entry, make_world, record, stock_balances

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    return make_world(owner)


def reading(world, value):
    return {f"reading_{world.meters[0].pk}": value}


def test_stop_with_reading_and_cash_says_that_the_money_is_right(world, stop):
    page = stop({**reading(world, 160), "cash-c25": 40, "cash-n1000": 5})

    assert "The money is right" in page.content.decode()
    assert [one.take for one in queries.history(world.meters[0].machine, FOREVER)] == [6000]


def test_cash_that_no_meter_tells_of_is_not_called_not_known_yet(world, stop, hand_client):
    page = stop({"cash-n1000": 5}).content.decode()
    cabinet = hand_client.get(f"/cabinets/{world.meters[0].machine.code}/").content.decode()

    assert (page.count("no meter was read"), page.count("not known yet"), page.count("plays not known")) == (1, 0, 0)
    assert (cabinet.count("no meter was read"), cabinet.count("0 prizes won")) == (1, 0)


def test_bag_of_an_evening_is_named_by_the_day_of_its_location_when_corrected(world, stop, hand_client):
    record(world, document(world, "a", days=0.6, entries=[entry(world, "a", reading=160, cents=6000)]))  # from a phone
    address = f"/visits/{Visit.objects.get().pk}/correct/"
    stop({**reading(world, 160), "cash-sum": "61"}, url=address, reason="A coin", arrived_at="2026-03-02T18:24")

    assert (Visit.objects.count(), Bag.objects.get().number[:6]) == (2, "260302")  # the 3rd by UTC


def test_short_cash_is_asked_about_and_kept_after_a_second_look(world, stop):
    asked = stop({**reading(world, 160), "cash-sum": "40"}, id=str(uuid4()))

    assert asked.status_code == 422
    assert "The cash is short by $20.00 against the meter. Is the count right?" in asked.content.decode()
    assert not Visit.objects.exists()

    kept = stop({**reading(world, 160), "cash-sum": "40"}, asked="on")

    assert "Cash short by $20.00" in kept.content.decode()


def test_lower_reading_is_asked_about_and_kept_with_the_reason(world, stop):
    meter = world.meters[0].pk
    asked = stop(reading(world, 90))

    assert "90 is lower than the last reading of 100. Is that right?" in asked.content.decode()

    stop({**reading(world, 90), f"explained_{meter}": "reset", f"reason_{meter}": "battery died"})

    kept = Reading.objects.get(meter=meter, value=90)
    assert (kept.explained_as, kept.reason) == ("reset", "battery died")
    assert queries.history(world.meters[0].machine, FOREVER)[0].plays == 90


def test_nothing_entered_is_no_visit_but_a_note_is(world, stop):
    page = stop()

    assert page.status_code == 422
    assert "Nothing is entered yet." in page.content.decode()

    stop(note="Closed for the funeral")

    assert Visit.objects.get().note == "Closed for the funeral"


def test_same_form_twice_is_one_visit(world, stop):
    form = str(uuid4())
    fault = Fault.objects.create(
        uuid=uuid4(), machine=world.meters[0].machine, via="host", text="Dark", at=FOREVER, received_at=FOREVER
    )
    fields = {**reading(world, 150), "cash-sum": "50", f"fix_{fault.pk}": "new tube", "grip_strength": 55}

    first, second = stop(fields, id=form), stop(fields, id=form)

    assert [first.status_code, second.status_code] == [200, 200]
    assert (Visit.objects.count(), CashMove.objects.count(), SettingsChange.objects.count()) == (1, 2, 1)


def test_same_form_with_another_content_is_refused_and_kept(world, stop):
    form = str(uuid4())
    stop({**reading(world, 150), "cash-sum": "50"}, id=form)

    page = stop({**reading(world, 150), "cash-sum": "51"}, id=form)

    assert page.status_code == 422
    assert "Another visit was sent under this id." in page.content.decode()
    assert 'value="51"' in page.content.decode()


def test_prizes_by_piece_and_by_mix_move_from_store_to_cabinet(world, stop):
    mix = Mix.objects.create(name="Harbour mix")
    mix.lines.create(prize=world.prizes[0], quantity=10)
    mix.lines.create(prize=world.prizes[1], quantity=5)

    stop({f"mix_{mix.pk}": 2, "other_prize": world.prizes[1].pk, "other_pieces": 3}, load_from=world.store.pk)

    inside = stock.inside([world.meters[0].machine_id])[world.meters[0].machine_id]
    assert [(prize.name, pieces) for prize, pieces in inside] == [("Plush owl", 20), ("Tin robot", 13)]


def test_cash_that_is_counted_and_said_to_be_sealed_is_asked_about(world, stop):
    page = stop({**reading(world, 160), "cash-n1000": 6, "bag_number": "S-17"})

    assert page.status_code == 422
    assert page.context["cabinets"][0].errors == {
        "bag_number": ["The cash is counted above. Leave one of the two empty."]
    }
    assert Visit.objects.count() == 0


def test_prizes_counted_fewer_were_won(world, stop):
    stop({"other_prize": world.prizes[0].pk, "other_pieces": 30}, load_from=world.store.pk)
    stop({f"found_{world.prizes[0].pk}": 22}, load_from=world.store.pk, arrived_at="2026-03-25T10:00")

    assert queries.history(world.meters[0].machine, FOREVER)[0].prizes_won == 8


@pytest.mark.parametrize(
    ("left_at", "minutes"),
    [("2026-03-20T15:25+00:00", 25), ("2026-03-22T15:25+00:00", 0), ("2026-03-19T15:25+00:00", 0)],
)
def test_when_they_left_is_kept_unless_it_was_written_down_later(world, stop, left_at, minutes):
    stop(reading(world, 160), left_at=left_at)

    visit = Visit.objects.get()
    assert (visit.departed_at - visit.at).total_seconds() == minutes * 60


def test_sealed_bag_counts_as_take_once_it_is_counted(world, stop):
    stop({**reading(world, 150), "bag_number": "S-17"})

    assert queries.history(world.meters[0].machine, FOREVER)[0].take is None
    assert [bag.number for bag in cash.uncounted_bags()] == ["S-17"]


def test_sealed_bag_keeps_what_the_meters_said_also_through_a_correction(world, stop):
    stop({**reading(world, 160), "bag_number": "S-7", "estimate": "6000"})
    stop(
        {**reading(world, 160), "bag_number": "S-7", "estimate": "6000", "note": "Late."},
        url=f"/visits/{Visit.objects.get().pk}/correct/",
        reason="a note",
    )

    bag = cash.bags().get(number="S-7")
    assert [one.estimate for one in queries_bag.contents(bag)] == [6000]
    assert queries_bag.difference(bag, queries_bag.contents(bag))(5900) == -100


def test_host_paid_on_the_spot_gets_a_receipt(world, stop, client):
    page = stop({**reading(world, 200), "cash-sum": "100"}, host_cents="40", host_received_by="Mika")
    receipt = client.get(f"/visits/{Visit.objects.get().pk}/receipt/")

    assert "$40.00 to Mika" in page.content.decode()
    assert "in cash to Mika for Lantern Arcade" in receipt.content.decode()


def test_fault_found_with_photo_is_kept(world, stop, hand_client):
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "teal").save(picture, "JPEG")
    picture.seek(0)
    picture.name = "claw.jpg"

    stop({"fault": "Claw hangs", "fault_stops_play": "on", "photos": picture})

    assert Fault.objects.get().text == "Claw hangs"
    shown = hand_client.get(f"/photos/{Photo.objects.get().pk}/")
    assert (shown.status_code, shown["Content-Type"]) == (200, "image/jpeg")


def test_photo_survives_a_question(world, stop):
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "teal").save(picture, "PNG")
    picture.seek(0)
    picture.name = "claw.png"
    form = str(uuid4())

    asked = stop({**reading(world, 90), "photos": picture}, id=form)
    machine = world.meters[0].machine_id
    kept = asked.context["cabinets"][0].kept
    stop({**reading(world, 90), "kept": [str(photo) for photo in kept]}, id=form, asked="on")

    assert len(kept) == 1
    assert Photo.objects.get().entry.machine_id == machine


def test_what_is_no_photo_is_left_out_with_words(world, stop):
    file = io.BytesIO(b"<svg onload=alert(1)>")
    file.name = "claw.jpg"

    page = stop({**reading(world, 90), "photos": file})

    assert "claw.jpg was left out. This is not a JPEG, PNG or WebP photo that can be read." in page.content.decode()


def test_correction_starts_from_what_was_entered_and_replaces_it(world, stop, hand_client):
    stop({**reading(world, 160), "cash-n1000": 6})
    wrong = Visit.objects.get()
    form = hand_client.get(f"/visits/{wrong.pk}/correct/")

    page = stop(
        {**reading(world, 170), "cash-n1000": 7}, url=f"/visits/{wrong.pk}/correct/", reason="misread the meter"
    )

    assert form.context["cabinets"][0].initial["count"] == {"n1000": 6}
    assert "Corrects" in page.content.decode()
    assert [(one.plays, one.take) for one in queries.history(world.meters[0].machine, FOREVER)] == [(70, 7000)]
    assert "This version no longer counts" in hand_client.get(f"/visits/{wrong.pk}/").content.decode()


def test_correction_is_measured_from_what_stood_before_the_visit(world, stop, hand_client):
    stop({**reading(world, 160), "cash-sum": "60"})
    first = Visit.objects.get()
    stop({**reading(world, 200), "cash-sum": "40"}, arrived_at="2026-03-27T10:00")

    cabinet = hand_client.get(f"/visits/{first.pk}/correct/").context["cabinets"][0].cabinet

    assert [meter.last_value for meter in cabinet.meters] == [100]
    assert (cabinet.carried.expected, cabinet.carried.taken, cabinet.last_visit) == (0, 0, None)


def test_correction_without_a_reason_is_asked_for_one(world, stop):
    stop(reading(world, 160))

    page = stop(reading(world, 170), url=f"/visits/{Visit.objects.get().pk}/correct/")

    assert page.status_code == 422
    assert Visit.objects.count() == 1


def test_withdrawn_visit_no_longer_counts_and_stays_readable(world, stop, hand_client):
    stop({**reading(world, 160), "cash-sum": "60"})
    visit = Visit.objects.get()

    hand_client.post(f"/visits/{visit.pk}/withdraw/", {"reason": "wrong place"})

    assert queries.history(world.meters[0].machine, FOREVER) == []
    page = hand_client.get(f"/visits/{visit.pk}/").content.decode()
    assert "“wrong place”" in page


def test_withdrawal_sent_twice_is_one(world, stop, hand_client):
    stop(reading(world, 160))
    address = f"/visits/{Visit.objects.get().pk}/withdraw/"

    answers = [hand_client.post(address, {"reason": "wrong place"}) for _ in range(2)]

    withdrawal = Visit.objects.get(void=True)
    assert [answer.headers.get("Location") for answer in answers] == [f"/visits/{withdrawal.pk}/"] * 2


def test_visit_that_was_corrected_meanwhile_is_not_withdrawn(world, stop, hand_client):
    stop(reading(world, 160))
    first = Visit.objects.get()
    stop(reading(world, 170), url=f"/visits/{first.pk}/correct/", reason="misread")

    answer = hand_client.post(f"/visits/{first.pk}/withdraw/", {"reason": "wrong place"})

    assert (answer.status_code, Visit.objects.filter(void=True).count()) == (422, 0)
    assert "corrected this visit already" in answer.content.decode()


def test_second_correction_of_one_visit_is_sent_to_the_newer_one(world, stop, hand_client):
    stop(reading(world, 160))
    first = Visit.objects.get()
    stop(reading(world, 170), url=f"/visits/{first.pk}/correct/", reason="misread")
    second = Visit.objects.get(replaces=first.pk)

    page = hand_client.get(f"/visits/{first.pk}/correct/")

    assert page.headers["Location"] == f"/visits/{second.pk}/"


@pytest.mark.parametrize("typed", ["-5", "12.5", "1e9", "9" * 40, "\x00", "zwölf", "１２", "10" + "0" * 8])
def test_bad_reading_is_refused_in_words_and_nothing_is_kept(world, stop, typed):
    page = stop(reading(world, typed))

    assert page.status_code in (200, 422)
    assert not Visit.objects.filter(entries__isnull=False).exists() or typed == "１２"


@pytest.mark.parametrize("typed", ["-5", "abc", "1" * 30, "5,5,5", "∞"])
def test_bad_amount_is_refused_in_words_and_nothing_is_kept(world, stop, typed):
    page = stop({"cash-sum": typed})

    assert page.status_code == 422
    assert not ServiceEntry.objects.exists()


@pytest.mark.parametrize(
    "fields",
    [{"id": "x"}, {"arrived_at": "0001-01-01T00:00"}, {"arrived_at": "9999-12-31T23:59"}, {"load_from": "999999"}],
)
def test_bad_stop_is_refused_in_words(world, stop, fields):
    page = stop(reading(world, 120), **fields)

    assert page.status_code == 422
    assert not Visit.objects.exists()


def test_foreign_ids_in_the_form_do_no_harm(world, stop):
    page = stop({"found_99999999": 3, "reading_99999999": 5, "mix_99999": 1}, cabinet=["99999", "x", "-1"])

    assert page.status_code in (200, 422)
    assert not StockMove.objects.filter(source__isnull=False).exists()


def test_list_of_cabinets_on_the_visit_page_costs_the_same_queries_for_three(
    world, hand_client, django_assert_num_queries
):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from tests import factories

    record(world, document(world, "a", entries=[entry(world, "a", 0, reading=150, cents=5000, loaded={0: 5})]))
    hand_client.get(f"/visits/new/{world.location.pk}/")
    with CaptureQueriesContext(connection) as two:
        hand_client.get(f"/visits/new/{world.location.pk}/")
    for _ in range(3):
        factories.PlacementFactory(machine=factories.MeterFactory().machine, location=world.location)

    with django_assert_num_queries(len(two)):
        hand_client.get(f"/visits/new/{world.location.pk}/")


def test_prizes_found_too_many_came_from_shrinkage_and_not_from_players(world, stop):
    stop({f"found_{world.prizes[0].pk}": 12})

    move = StockMove.objects.get(settles__isnull=False)
    assert (move.from_place.kind, move.quantity) == ("shrinkage", 12)
    assert queries.history(world.meters[0].machine, FOREVER)[0].prizes_won == 0


def test_late_load_turns_prizes_found_too_many_into_prizes_won(world, stop):
    stop({f"found_{world.prizes[0].pk}": 12}, arrived_at="2026-03-20T10:00")

    stop(
        {"other_prize": world.prizes[0].pk, "other_pieces": 30},
        load_from=world.store.pk,
        arrived_at="2026-03-15T10:00",
    )

    newest, _ = queries.history(world.meters[0].machine, FOREVER)
    assert newest.prizes_won == 18
    assert ("Shrinkage", "Plush owl") not in stock_balances()


def test_mixes_of_other_prizes_are_folded_until_they_are_used(world, stop, hand_client):
    page = f"/visits/new/{world.location.pk}/"
    mix, other = Mix.objects.create(name="Fits"), Mix.objects.create(name="Foreign")
    mix.lines.create(prize=world.prizes[0], quantity=1)
    other.lines.create(prize=world.prizes[1], quantity=1)
    record(world, document(world, "a", entries=[entry(world, "a", 0, reading=150, cents=5000, loaded={0: 5})]))

    form = hand_client.get(page).context["cabinets"][0]
    assert [field.name for field in form.mix_fields()] == [f"mix_{mix.pk}"]
    assert [field.name for field in form.other_mix_fields()] == [f"mix_{other.pk}"]

    form = stop({f"mix_{other.pk}": 1}, arrived_at="").context["cabinets"][0]
    assert len(form.mix_fields()) == 2
