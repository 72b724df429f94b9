"""Forecasts, what is due and what to order, on a small route."""

import uuid
from datetime import date, timedelta

import pytest
from django.core.cache import cache, caches
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from locations.models import Agreement
from machines.faults.actions import report_fault
from routeapp.cash.models import CashMove
from routeapp.kit import clock
from routeapp.kit.errors import Refused
from routeapp.planning import queries_due
from routeapp.planning.actions_due import finish_to_do, note_to_do, promise, take_back_promise
from routeapp.planning.actions_order import order_prizes, set_terms, withdraw_order
from routeapp.planning.models_due import PrizeOrder, Promise, ToDo
from routeapp.planning.queries_due import due, losses, permits_near
from routeapp.planning.queries_fan import fan
from routeapp.planning.queries_order import groups, lines
from routeapp.planning.queries_outlook import outlook
from tests import factories
from tests.earnings import story

pytestmark = pytest.mark.django_db

NOW = story.utc(20, 12)


@pytest.fixture
def route(owner):
    """C3 is played 40 times a day and gives 4 prizes; it was left with 60 on the 18th. The others stand still."""
    made = story.make_route(owner)
    for day, loaded in ((1, 60), (6, 20), (12, 24), (18, 24)):
        reading, found = 100 + 40 * (day - 1), None if day == 1 else 60 - 4 * {6: 5, 12: 6, 18: 6}[day]
        one = story.entry(made, 3, reading=reading, cents=100, found=found, loaded=loaded)
        story.visit(made, made.cafe, story.utc(day, 10), one)
    return made


@pytest.fixture
def today(monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: NOW)


def cabinet(route, number):
    return route.meters[number - 1].machine


def forecast(route, number, now=NOW):
    return outlook(now).forecasts[cabinet(route, number).pk]


def test_cabinet_is_believed_to_go_on_as_it_did(route):
    found = forecast(route, 3)

    assert found.held == 60
    assert found.plays_a_day == pytest.approx(40, rel=0.25)
    assert found.left_low < found.left < found.left_high <= 60
    assert found.left == pytest.approx(52, abs=4)
    assert date(2026, 3, 27) < found.empty_on < date(2026, 4, 12)
    assert found.empty_from <= found.empty_on <= found.empty_until


def test_a_cabinet_that_is_metered_and_never_counted_is_forecast_as_if_it_were(route):
    counted = forecast(route, 3)
    out = factories.MeterFactory(machine=cabinet(route, 1), counts="prizes_out", value_cents=0)
    for day, loaded in ((1, 60), (6, 20), (12, 24), (18, 24)):
        one = story.entry(route, 1, reading=100 + 40 * (day - 1), cents=100, loaded=loaded)
        one["readings"].append({"meter": out.pk, "value": 500 + 4 * (day - 1)})
        story.visit(route, route.arcade, story.utc(day, 10), one)

    metered = forecast(route, 1)
    assert metered.held == counted.held
    assert metered.prizes_a_day == pytest.approx(counted.prizes_a_day, rel=0.2)


def test_a_cabinet_that_was_played_with_no_prizes_in_the_books_is_not_called_empty(route):
    for day, reading in ((6, 300), (12, 550)):
        story.visit(route, route.arcade, story.utc(day, 10), story.entry(route, 1, reading=reading, cents=20_000))

    played, new = forecast(route, 1), forecast(route, 2)
    assert (played.left, played.is_low(NOW), played.empty_on) == (None, False, None)
    assert played.box_cents > 0
    assert (new.left, new.is_low(NOW)) == (0, True)  # came, and nobody put any in


def test_found_empty_it_is_believed_to_be_played_more(route):
    before = forecast(route, 3).plays_a_day
    one = story.entry(route, 3, reading=840, found=0, loaded=60)
    story.visit(route, route.cafe, story.utc(22, 10), one)

    looks = outlook(story.utc(22, 11)).histories
    assert [look.empty for one in looks if one.placement.machine == cabinet(route, 3) for look in one.looks][-1]
    assert forecast(route, 3, story.utc(22, 11)).plays_a_day > 0.5 * before


def test_a_kind_found_out_took_its_players_along_for_a_part_of_the_time(route):
    other = factories.PrizeFactory(name="Plush bat").pk
    found = [{"prize": route.owl.pk, "pieces": 30}, {"prize": other, "pieces": 0}]
    one = {**story.entry(route, 3, reading=840, loaded=30), "found": found}
    story.visit(route, route.cafe, story.utc(24, 10), one)

    looks = outlook(story.utc(24, 11)).histories
    [last] = [each.looks[-1] for each in looks if each.placement.machine == cabinet(route, 3)]
    assert (last.empty, last.days) == (False, pytest.approx(6 * (1 - 1 / 6)))  # a third of it for half of the kinds


def test_found_stopped_it_is_believed_to_be_played_more_and_to_stop_again(route):
    before = outlook(NOW)
    fault = {"id": str(uuid.uuid4()), "text": "Coin slot jammed", "stops_play": True}
    one = story.entry(route, 3, reading=840, found=60, faults=[fault], fixed=[])
    story.visit(route, route.cafe, story.utc(22, 10), one)
    report_fault(
        uuid=uuid.uuid4(), machine=cabinet(route, 1), text="Dark", stops_play=True, via="host", by=None,
        at=story.utc(22, 9), received_at=NOW,
    )  # fmt: skip

    caches["forecasts"].clear()  # what all cabinets teach is kept for a week

    after = outlook(story.utc(22, 11))
    last = {one.placement.machine: one for one in after.histories}
    assert (last[cabinet(route, 3)].looks[-1].empty, last[cabinet(route, 3)].stops) == (True, 1)
    assert last[cabinet(route, 1)].stops == 0  # somebody told
    assert before.stops.tolist() == [0, 0, 0]
    assert after.stops[after.row[cabinet(route, 3).pk]] > after.stops[after.row[cabinet(route, 2).pk]] > 0


def test_cabinet_nobody_read_is_a_guess_in_words(route, owner_client):
    page = owner_client.get(reverse("cabinet-forecast", args=["C1"])).content.decode()

    assert "A guess" in page
    assert "There is no past forecast to judge by yet." in page


def test_forecast_page_says_what_is_left_and_how_good_it_was(route, hand_client, today):
    page = hand_client.get(reverse("cabinet-forecast", args=["C3"])).content.decode()

    assert "Prizes left today" in page
    assert "inside their range" in page


def test_parts_of_pages_push_out_nothing_that_is_learned(route, django_assert_num_queries):
    outlook(NOW)
    for number in range(400):
        cache.set(f"part-{number}", "of a page")

    with django_assert_num_queries(4):  # what stands where, the newest line of the log, report and reading
        outlook(NOW)


def test_page_of_a_forecast_asks_once_for_the_outlook(route, hand_client, today):
    with CaptureQueriesContext(connection) as asked:
        hand_client.get(reverse("cabinet-forecast", args=["C3"]))

    assert sum('FROM "django_admin_log"' in query["sql"] for query in asked) == 1


def test_loss_of_a_week_is_that_of_its_column(route, owner):
    report_fault(
        uuid=uuid.uuid4(),
        machine=cabinet(route, 1),
        text="Claw hangs",
        stops_play=True,
        via="crew",
        by=owner,
        at=NOW,
        received_at=NOW,
    )
    seen = outlook(NOW)

    assert seen.lost_in_a_week.any()
    assert seen.lost_in_a_week.tolist() == seen.lost_cents[:, 7].tolist()


def test_cabinet_that_stands_nowhere_has_nothing_to_expect(owner_client):
    factories.MachineFactory(code="C9")

    assert "stands nowhere" in owner_client.get(reverse("cabinet-forecast", args=["c9"])).content.decode()


def test_waiting_costs_more_and_more_once_it_is_empty(route):
    seen = outlook(NOW)
    found = losses(seen, 40)
    row = found.ids.index(route.cafe.pk)
    waiting = found.now[row]

    assert waiting[0] == 0
    assert all(later >= sooner for sooner, later in zip(waiting, waiting[1:], strict=False))
    assert waiting[5] < 500 < 10_000 < waiting[40]
    assert found.fresh[row, 40] < waiting[40]


def test_fault_that_stops_play_loses_all_of_it(route, owner):
    facts = {"by": owner, "at": story.utc(19, 8), "received_at": NOW}
    machine = cabinet(route, 3)
    report_fault(uuid=uuid.uuid4(), machine=machine, text="Claw hangs.", via="host", stops_play=True, **facts)

    found = next(one for one in due(NOW) if one.location == route.cafe)

    assert [reason.words for reason in found.reasons if reason.bad] == [
        "C3: the host says that nobody can play, Claw hangs."
    ]
    assert found.state == "now"
    assert found.cents > 1_000


def reasons(location, now=NOW):
    return [reason.words for one in due(now) if one.location == location for reason in one.reasons]


def test_promise_is_due_when_its_days_are_nearly_over(route, owner):
    facts = {"by": owner, "at": NOW}
    promise(location=route.cafe, every_days=30, **facts)
    promise(location=route.cafe, every_days=6, note="the owner's son", **facts)
    again = promise(location=route.cafe, every_days=6, note="the owner's son", **facts)

    assert Promise.objects.live().get() == again
    assert "Promised at least every 6 days (the owner's son)." in reasons(route.cafe)
    late = next(one for one in due(NOW + timedelta(days=9)) if one.location == route.cafe)
    assert (late.by, late.state) == (date(2026, 3, 24), "late")
    take_back_promise(location=route.cafe, **facts)
    assert not any("Promised" in words for words in reasons(route.cafe))


def test_things_to_do_wait_until_they_are_done(route, owner):
    facts = {"location": route.arcade, "by": owner, "at": NOW}
    one = note_to_do(uuid=uuid.uuid4(), errand="bring", text="New sign", **facts)
    same = note_to_do(uuid=one.uuid, errand="bring", text="New sign", **facts)
    note_to_do(uuid=uuid.uuid4(), errand="install", machine=cabinet(route, 1), **facts)
    note_to_do(uuid=uuid.uuid4(), errand="pull", machine=cabinet(route, 2), **facts)

    assert same == one
    assert [words for words in reasons(route.arcade) if words[0] in "BIT"] == [
        "Bring something: New sign.",  # installing is done: C1 stands there
        "Take a cabinet away: C2.",
    ]
    finish_to_do(to_do=one, by=owner, at=NOW)
    finish_to_do(to_do=one, by=owner, at=NOW)
    assert "Bring something: New sign." not in reasons(route.arcade)


def test_permit_waits_until_shortly_before_it_runs_out(route, owner_client, today, owner):
    said = {"errand": "permit", "text": "State sticker", "machine": cabinet(route, 3), "by": owner, "at": NOW}
    note_to_do(uuid=uuid.uuid4(), location=route.cafe, by_day=date(2026, 4, 30), **said)
    words = "State sticker of C3 runs out on 30 April 2026."

    assert [words in reasons(route.cafe, NOW + timedelta(days=day)) for day in (0, 11)] == [False, True]
    assert permits_near(date(2026, 3, 20)) == []
    late = next(one for one in due(NOW + timedelta(days=45)) if one.location == route.cafe)
    assert ("State sticker of C3 ran out on 30 April 2026." in late.why, late.state) == (True, "late")


def test_permit_of_a_location_that_closed_for_good_is_not_named(route, owner):
    said = {"errand": "permit", "text": "State sticker", "machine": cabinet(route, 3), "by": owner, "at": NOW}
    note_to_do(uuid=uuid.uuid4(), location=route.cafe, by_day=date(2026, 4, 1), **said)
    assert [words for _, words in permits_near(NOW.date())] == ["State sticker of C3 runs out on 1 April 2026."]
    route.cafe.closed_on = NOW.date()
    route.cafe.save()
    assert permits_near(NOW.date()) == []


def test_host_paid_in_cash_is_to_be_settled_with_when_the_days_are_over(route, owner):
    assert not any("settled" in words for words in reasons(route.cafe))
    Agreement.objects.filter(location=route.cafe).update(paid="cash", settled="week")

    assert "The host is to be settled with in cash, up to 15 March." in reasons(route.cafe)
    assert not any("settled" in words for words in reasons(route.arcade))


def test_host_is_not_to_be_settled_with_for_days_of_which_nothing_is_to_be_settled(route, owner):
    agreement = Agreement.objects.get(location=route.cafe)
    Agreement.objects.filter(pk=agreement.pk).update(paid="cash", settled="week")

    def up_to(now):
        return [words for words in reasons(route.cafe, now) if "settled with" in words]

    assert up_to(NOW + timedelta(days=30)) == ["The host is to be settled with in cash, up to 22 March."]
    agreement.terms.create(kind="rent", cents=100, per="month")
    assert up_to(NOW + timedelta(days=30)) == ["The host is to be settled with in cash, up to 12 April."]
    agreement.terms.all().delete()
    agreement.terms.create(kind="visit", cents=100)
    CashMove.objects.filter(location=route.cafe).update(location=route.arcade)
    assert up_to(NOW + timedelta(days=30)) == ["The host is to be settled with in cash, up to 22 March."]


@pytest.mark.parametrize(
    ("errand", "text", "field"),
    [("install", "", "machine"), ("bring", "", "text"), ("permit", "", "text"), ("permit", "Sticker", "by_day")],
)
def test_thing_to_do_needs_to_say_what(route, owner, errand, text, field):
    with pytest.raises(Refused) as refused:
        note_to_do(uuid=uuid.uuid4(), location=route.cafe, errand=errand, text=text, by=owner, at=NOW)

    assert refused.value.field == field


def test_due_shows_the_office_what_waiting_costs(route, owner_client, today):
    assert "Loses a day" in owner_client.get(reverse("due")).content.decode()


def test_due_shows_a_route_hand_no_profit(route, owner, hand_client, today):
    note_to_do(uuid=uuid.uuid4(), location=route.cafe, errand="bring", text="New sign", by=owner, at=NOW)

    page = hand_client.get(reverse("due")).content.decode()
    place = hand_client.get(reverse("due-place", args=[route.cafe.pk])).content.decode()

    assert "New sign" in page
    assert "Loses a day" not in page
    assert "what waiting costs" not in place


def test_forms_of_a_place_say_what_is_wrong(route, owner_client):
    to_do, said = reverse("to-do-add", args=[route.cafe.pk]), {"uuid": str(uuid.uuid4()), "errand": "bring"}

    assert owner_client.post(to_do, said).status_code == 422
    assert owner_client.post(to_do, {**said, "text": "x\0", "by_day": "9999-99-99"}).status_code == 422
    assert owner_client.post(to_do, {**said, "text": "Sign", "by_day": "2026-04-01"}).status_code == 302
    assert ToDo.objects.get().text == "Sign"
    promised = reverse("promise", args=[route.cafe.pk])
    assert owner_client.post(promised, {"every_days": "0"}).status_code == 422
    assert owner_client.post(promised, {"every_days": "14"}).status_code == 302


def test_queries_of_what_is_due_stay_the_same(route, owner):
    def count():
        due(NOW)
        with CaptureQueriesContext(connection) as asked:
            queries_due.outlook(NOW)
            due(NOW)
        return len(asked)

    note_to_do(uuid=uuid.uuid4(), location=route.cafe, errand="bring", text="a", by=owner, at=NOW)
    one = count()
    for text in "bc":
        note_to_do(uuid=uuid.uuid4(), location=route.arcade, errand="bring", text=text, by=owner, at=NOW)
        factories.PlacementFactory(location=route.arcade)
    assert count() == one


def owl_line(now=NOW):
    return next(line for line in lines(now) if line.prize.name.startswith("Owl") or line.article.a_day)


def test_prizes_are_ordered_by_what_is_won_and_what_is_on_its_way(route, owner):
    route.owl.supplier = "Moonrake"
    route.owl.save()
    set_terms(supplier="Moonrake", lead_days=200, every_days=14, by=owner, at=NOW)
    before = owl_line()

    assert before.article.a_day > 0
    assert before.advice.quantity > 0
    assert [group.supplier for group in groups([before])] == ["Moonrake"]
    order_id, facts = uuid.uuid4(), {"supplier": "Moonrake", "by": owner, "at": NOW}
    advised = [(route.owl, before.advice.quantity)]
    order = order_prizes(uuid=order_id, lines=advised, **facts)
    assert order_prizes(uuid=order_id, lines=advised, **facts) == order
    with pytest.raises(Refused, match="sent before"):
        order_prizes(uuid=order_id, lines=[(route.owl, 1)], **facts)
    assert (owl_line().article.on_way, owl_line().advice.quantity) == (before.advice.quantity, 0)
    withdraw_order(order=order, by=owner, at=NOW)
    assert owl_line().advice.quantity == before.advice.quantity
    with pytest.raises(Refused):
        order_prizes(uuid=uuid.uuid4(), lines=[(route.owl, 0)], **facts)


def test_days_are_those_of_the_business_and_of_the_location(route, owner):
    late = story.utc(20, 2)  # still the 19th in Chicago
    order = order_prizes(uuid=uuid.uuid4(), supplier="Moonrake", lines=[(route.owl, 1)], by=owner, at=late)
    one = story.entry(route, 1, reading=140, cents=4_000, loaded=20)
    story.visit(route, route.arcade, late, one)

    with timezone.override("America/Chicago"):
        assert str(order) == "Order of 19 Mar 2026 from Moonrake"
    assert fan(outlook(NOW), cabinet(route, 1).pk, NOW).words[0].text == "19 Mar"


def test_order_goes_from_the_page_to_a_file_and_on_its_way(route, owner_client, owner):
    route.owl.supplier = "Moonrake & Co"
    route.owl.save()
    terms = {"lead_days": "200", "spread_days": "5", "every_days": "7", "freight_cents": "12", "free_from_cents": ""}
    asked = f"?supplier={'Moonrake %26 Co'}"

    assert owner_client.post(reverse("supplier-terms") + asked, terms).status_code == 302
    assert "Moonrake" in owner_client.get(reverse("reorder")).content.decode()
    assert owner_client.get(reverse("reorder-file") + asked).status_code == 200
    form = {"uuid": str(uuid.uuid4()), f"prize-{route.owl.pk}": "250"}
    assert owner_client.post(reverse("reorder-supplier") + asked, form).status_code == 302
    assert PrizeOrder.objects.get().lines.get().quantity == 250
    assert owner_client.get(reverse("reorder-supplier") + "?supplier=Nobody").status_code == 404
    assert owner_client.post(reverse("reorder-supplier") + asked, {"uuid": "x"}).status_code == 422
