"""Meters fitted, replaced and set back, and a change of price, through their pages."""

from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse

from machines.cabinets import actions_meter_changes as actions
from machines.cabinets import queries_meters
from machines.cabinets.actions_meter_changes import Closing, NewMeter
from machines.cabinets.actions_meters import take_reading
from machines.models import Machine, Meter, Reading
from routeapp.kit.errors import Refused
from tests.factories import LONG_AGO, MachineFactory
from tests.machines.counting import queries_of

JUNE = "2026-06-01T12:00"
JUNE_NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)


@pytest.fixture
def machine(db):
    return MachineFactory(code="C-001", price_cents=100)


@pytest.fixture
def plays(machine, owner):
    new = NewMeter("plays", 6, 100)
    return actions.add_meter(machine=machine, new=new, by=owner, at=LONG_AGO, received_at=LONG_AGO)


def read(meter, owner, value, at, **said):
    return take_reading(meter=meter, value=value, **said, by=owner, at=at, received_at=at)


def history(meter):
    return list(meter.readings.order_by("at", "-kind").values_list("value", "kind"))


def counts(machine):
    """What each interval of the cabinet says was counted, and what that is worth."""
    found = queries_meters.intervals([machine.pk], LONG_AGO, JUNE_NOON + timedelta(days=99))
    return [(one.interval.counts, one.cents) for one in found]


def errors(response):
    assert response.status_code == 422
    return {field: list(said) for field, said in response.context["form"].errors.items()}


def test_each_of_many_readings_says_that_the_one_before_was_wrong(machine, plays, owner):
    def at(day):
        return JUNE_NOON + timedelta(days=day)

    read(plays, owner, 100, at(0))
    read(plays, owner, 901, at(1))
    for day in range(2, 12):
        read(plays, owner, 900 + day, at(day), explained_as="last_was_wrong")
    read(plays, owner, 130, at(12), explained_as="last_was_wrong")

    [found] = queries_meters.intervals([machine.pk], at(12), at(13))
    assert (found.interval.start.value, found.interval.counts) == (100, 30)
    earlier = queries_meters.before([machine.pk], at(12))[plays.pk]
    new = queries_meters.preview(plays, 150, at(13), earlier, explained_as="last_was_wrong")
    assert (new.interval.start.value, new.interval.counts) == (100, 50)


def test_meter_page_shows_the_last_reading(owner_client, plays, owner, noon):
    read(plays, owner, 1234, noon)
    answer = owner_client.get(reverse("cabinet-meters", args=["C-001"])).content.decode()
    assert '<p class="figure">1,234</p>' in answer


def test_every_reading_is_listed_and_goes_out_as_seen(owner_client, plays, owner, noon):
    read(plays, owner, 1234, noon)
    address = reverse("cabinet-meters", args=["C-001"])
    lines = owner_client.get(address, {"sort": "value", "as": "csv"}).getvalue().decode().splitlines()[1:]
    assert [line.split(",")[2:5] for line in lines] == [["100", "0", "Start of counting"], ["1234", "0", ""]]
    assert owner_client.get(address, {"q": "nobody"}).context["table"].count == 0


def test_meter_page_asks_the_database_no_more_for_3_than_for_1(owner_client, machine, plays, owner):
    one = queries_of(owner_client, reverse("cabinet-meters", args=["C-001"]))
    for new in (NewMeter("money_in", 6, 0, 25), NewMeter("prizes_out", 6, 0)):
        actions.add_meter(machine=machine, new=new, by=owner, at=LONG_AGO, received_at=LONG_AGO)
    assert queries_of(owner_client, reverse("cabinet-meters", args=["C-001"])) == one


def test_meter_is_added_with_what_it_shows(hand_client, plays, machine):
    sent = {"prizes_out-fitted": "on", "prizes_out-digits": "4", "prizes_out-opening": "17", "at": JUNE}
    assert hand_client.post(reverse("meter-add", args=["C-001"]), sent).status_code == 302
    added = machine.meters.get(counts="prizes_out")
    assert (added.digits, added.value_cents, history(added)) == (4, 0, [(17, "baseline")])


def test_meter_add_offers_only_what_is_missing(hand_client, plays):
    offered = hand_client.get(reverse("meter-add", args=["C-001"])).context["meters"]
    assert [form.counts for form in offered] == ["money_in", "prizes_out"]


def test_meter_add_with_nothing_ticked_says_so(hand_client, machine):
    response = hand_client.post(reverse("meter-add", args=["C-001"]), {"at": JUNE})
    assert errors(response) == {"__all__": ["Tick the meter that the cabinet has now. Nothing was changed."]}


def test_second_meter_of_a_sort_is_refused(plays, machine, owner):
    with pytest.raises(Refused, match="already has a meter for plays"):
        actions.add_meter(machine=machine, new=NewMeter("plays", 6, 0), by=owner, at=JUNE_NOON, received_at=JUNE_NOON)


def test_money_meter_without_its_value_is_refused(machine, owner):
    new = NewMeter("money_in", 6, 0)
    with pytest.raises(Refused, match="how much money"):
        actions.add_meter(machine=machine, new=new, by=owner, at=JUNE_NOON, received_at=JUNE_NOON)


def test_replaced_meter_keeps_its_readings_and_the_new_one_counts_on(hand_client, plays, machine, owner):
    sent = {"closing": "150", "digits": "7", "opening": "3", "counts_tests": "on", "at": JUNE}
    assert hand_client.post(reverse("meter-replace", args=[plays.pk]), sent).status_code == 302
    new = Meter.objects.get(replaces=plays)
    plays.refresh_from_db()
    assert plays.removed_at == new.installed_at == JUNE_NOON
    assert (new.digits, new.value_cents, new.counts) == (7, 100, "plays")
    assert history(plays) == [(100, "baseline"), (150, "reading")]
    read(new, owner, 13, JUNE_NOON + timedelta(days=1))
    assert counts(machine) == [(50, 5000), (10, 1000)]


def test_replaced_meter_that_could_not_be_read_has_no_closing(hand_client, plays):
    sent = {"closing": "", "digits": "6", "opening": "0", "at": JUNE}
    hand_client.post(reverse("meter-replace", args=[plays.pk]), sent)
    assert history(plays) == [(100, "baseline")]


def test_replacing_twice_changes_nothing_more(hand_client, plays):
    sent = {"closing": "150", "digits": "6", "opening": "0", "at": JUNE}
    for _ in range(2):
        assert hand_client.post(reverse("meter-replace", args=[plays.pk]), sent).status_code == 302
    assert (Meter.objects.count(), Reading.objects.count()) == (2, 3)


def test_meter_set_back_keeps_what_it_counted(hand_client, plays, machine, owner):
    sent = {"closing": "130", "opening": "0", "at": JUNE}
    assert hand_client.post(reverse("meter-reset", args=[plays.pk]), sent).status_code == 302
    read(plays, owner, 5, JUNE_NOON + timedelta(days=1))
    assert history(plays) == [(100, "baseline"), (130, "reading"), (0, "baseline"), (5, "reading")]
    assert counts(machine) == [(30, 3000), (5, 500)]


def test_set_back_sent_twice_is_one(hand_client, plays):
    for _ in range(2):
        sent = {"closing": "130", "opening": "0", "at": JUNE}
        assert hand_client.post(reverse("meter-reset", args=[plays.pk]), sent).status_code == 302
    assert history(plays) == [(100, "baseline"), (130, "reading"), (0, "baseline")]


def test_change_before_the_last_reading_is_refused(hand_client, plays, owner):
    read(plays, owner, 200, JUNE_NOON + timedelta(hours=1))
    response = hand_client.post(reverse("meter-reset", args=[plays.pk]), {"opening": "0", "at": JUNE})
    assert errors(response) == {"at": ["The meter was read after that moment. Choose a later one."]}


def test_change_in_the_minute_of_the_last_reading_comes_after_it(hand_client, plays, owner):
    read(plays, owner, 120, JUNE_NOON + timedelta(seconds=30))
    sent = {"closing": "120", "opening": "0", "at": JUNE}
    assert hand_client.post(reverse("meter-reset", args=[plays.pk]), sent).status_code == 302
    assert history(plays)[-1] == (0, "baseline")


def test_odd_closing_is_asked_about_and_kept_with_the_answer(hand_client, plays):
    sent = {"closing": "40", "digits": "6", "opening": "0", "at": JUNE}
    asked = hand_client.post(reverse("meter-replace", args=[plays.pk]), sent)
    assert errors(asked) == {
        "explained_as": [
            "40 is lower than the last reading of 100. Look at it again. If it is right, say what happened."
        ]
    }
    answer = {"explained_as": "unknown", "reason": "Display was loose"}
    assert hand_client.post(reverse("meter-replace", args=[plays.pk]), sent | answer).status_code == 302
    last = plays.readings.latest("at")
    assert (last.value, last.explained_as, last.reason) == (40, "unknown", "Display was loose")


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"closing": "-1"}, "closing"),
        ({"closing": "x"}, "closing"),
        ({"closing": "9" * 40}, "closing"),
        ({"opening": ""}, "opening"),
        ({"at": "2999-01-01T00:00"}, "at"),
        ({"explained_as": "magic"}, "explained_as"),
        ({"reason": "\x00"}, "reason"),
    ],
)
def test_set_back_that_makes_no_sense_is_refused(hand_client, plays, changed, field):
    response = hand_client.post(reverse("meter-reset", args=[plays.pk]), {"opening": "0", "at": JUNE} | changed)
    assert list(errors(response)) == [field]
    assert Reading.objects.count() == 1


def test_value_that_the_meter_cannot_show_is_refused(hand_client, plays):
    response = hand_client.post(reverse("meter-reset", args=[plays.pk]), {"opening": "1000000", "at": JUNE})
    assert errors(response) == {"__all__": ["The Plays meter of C-001 has 6 digits; it cannot show 1,000,000."]}


def test_price_change_reads_the_plays_meter_so_that_plays_keep_their_worth(owner_client, plays, machine, owner):
    money = NewMeter("money_in", 6, 0, 25)
    money = actions.add_meter(machine=machine, new=money, by=owner, at=LONG_AGO, received_at=LONG_AGO)
    sent = {"price_cents": "1.50", "closing": "110", "at": JUNE}
    assert owner_client.post(reverse("cabinet-price", args=["C-001"]), sent).status_code == 302
    new = Meter.objects.get(replaces=plays)
    assert Machine.objects.get().price_cents == new.value_cents == 150
    read(new, owner, 114, JUNE_NOON + timedelta(days=1))
    assert counts(machine) == [(10, 1000), (4, 600)]
    money.refresh_from_db()
    assert (money.value_cents, money.removed_at) == (25, None)


def test_price_change_without_the_reading_is_refused(owner_client, plays):
    response = owner_client.post(reverse("cabinet-price", args=["C-001"]), {"price_cents": "1.50", "at": JUNE})
    assert errors(response) == {"closing": ["This field is required."]}
    with pytest.raises(Refused, match="Read the plays meter first"):
        actions.change_price(
            machine=plays.machine, price_cents=150, by=plays.machine, at=JUNE_NOON, received_at=JUNE_NOON
        )
    assert Machine.objects.get().price_cents == 100


def test_price_change_of_a_cabinet_without_meters_asks_for_none(owner_client, machine):
    sent = {"price_cents": "0.75", "at": JUNE}
    assert owner_client.post(reverse("cabinet-price", args=["C-001"]), sent).status_code == 302
    assert Machine.objects.get().price_cents == 75


def test_same_price_again_changes_nothing(machine, plays, owner):
    said = {"by": owner, "at": JUNE_NOON, "received_at": JUNE_NOON}
    actions.change_price(machine=machine, price_cents=100, closing=Closing(150), **said)
    assert (Meter.objects.count(), Reading.objects.count()) == (1, 1)


@pytest.mark.parametrize("name", ["meter-replace", "meter-reset"])
@pytest.mark.parametrize("pk", [0, 10**25])
def test_meter_that_is_not_there(hand_client, name, pk):
    assert hand_client.get(reverse(name, args=[pk])).status_code == 404
