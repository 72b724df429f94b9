"""Calendars of rounds, read back with a library of its own: RFC 5545."""

from datetime import UTC, datetime, time, timedelta

import pytest
from django.urls import reverse
from icalendar import Calendar

from routeapp.models import CalendarLink, Shift
from routeapp.planning import actions_calendar, actions_changes, actions_rounds
from tests.planning.cast import MONDAY, a_round

pytestmark = pytest.mark.django_db


@pytest.fixture
def link(route):
    return actions_calendar.make_link(person=route.hand, by=route.owner, at=MONDAY)


def events(client, link):
    answer = client.get(reverse("calendar-feed", args=[link.token]))
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    calendar = Calendar.from_ical(answer.content)
    assert not calendar.errors
    return calendar.walk("VEVENT")


def test_feed_shows_own_rounds_without_money(route, link, client, monday):
    one = a_round(route)
    a_round(route, person=route.owner, number=2)
    event, *others = events(client, link)
    assert others == []
    assert (str(event["uid"]), event["sequence"], str(event["status"])) == (f"{one.pk}@localhost", 0, "CONFIRMED")
    assert str(event["description"]).splitlines()[0] == "09:00 Pier hall"
    assert "$" not in event.to_ical().decode()


def test_replan_keeps_the_uid_and_raises_the_sequence(route, link, client, monday):
    one = a_round(route)
    before = events(client, link)[0]
    order = [route.places[1].pk]
    actions_changes.change_round(round=one, order=order, pinned=(), by=route.owner, at=MONDAY + timedelta(minutes=1))
    after = events(client, link)[0]
    assert (after["uid"], after["sequence"]) == (before["uid"], 1)
    assert after["last-modified"].dt > before["last-modified"].dt


def test_dropped_round_is_cancelled_in_a_newer_sequence(route, link, client, monday):
    one = a_round(route)
    actions_rounds.drop_round(round=one, because="", by=route.owner, at=MONDAY + timedelta(minutes=1))
    event = events(client, link)[0]
    assert (str(event["status"]), event["sequence"]) == ("CANCELLED", 1)


def test_times_are_right_on_both_sides_of_a_clock_change(route, link, client, monkeypatch):
    """Chicago leaves summer time on 1 November 2026 at 02:00 (US Energy Policy Act of 2005: first Sunday)."""
    from routeapp.kit import clock

    friday, monday = datetime(2026, 10, 30, tzinfo=UTC).date(), datetime(2026, 11, 2, tzinfo=UTC).date()
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 10, 29, 12, tzinfo=UTC))
    Shift.objects.update(starts=time(9))
    for number, day in enumerate((friday, monday), 1):
        a_round(route, route.places[:1], day=day, number=number)
    told = [str(event["description"]) for event in events(client, link)]
    starts = [event["dtstart"].dt for event in events(client, link)]
    assert len(set(told)) == 1
    assert starts[1] - starts[0] == timedelta(days=3, hours=1)


def test_round_of_the_sunday_of_the_change_keeps_the_clock_of_the_wall(route, link, client, monkeypatch):
    from routeapp.kit import clock

    sunday = datetime(2026, 11, 1, tzinfo=UTC).date()
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 10, 29, 12, tzinfo=UTC))
    Shift.objects.update(weekday=6, starts=time(9)) if Shift.objects.count() == 1 else Shift.objects.filter(
        driver__person=route.hand, weekday=0
    ).update(weekday=6, starts=time(9))
    a_round(route, route.places[:1], day=sunday)
    event = events(client, link)[0]
    assert event["dtstart"].dt.hour == 15  # nine in the morning is six hours behind UTC again


def test_revoked_renewed_and_guessed_addresses_are_not_found(route, link, client, owner_client):
    newer = actions_calendar.make_link(person=route.hand, by=route.owner, at=MONDAY)
    assert client.get(reverse("calendar-feed", args=[link.token])).status_code == 404
    assert client.get(reverse("calendar-feed", args=[newer.token])).status_code == 200
    owner_client.post(reverse("calendar-revoke", args=[route.hand.pk]))
    assert client.get(reverse("calendar-feed", args=[newer.token])).status_code == 404
    assert client.get(reverse("calendar-feed", args=["x" * 32])).status_code == 404


def test_person_who_left_has_no_feed(route, link, client):
    route.hand.is_active = False
    route.hand.save()
    assert client.get(reverse("calendar-feed", args=[link.token])).status_code == 404


def test_hand_makes_an_own_address_and_no_other(route, hand_client):
    assert hand_client.post(reverse("calendar-make", args=[route.owner.pk])).status_code == 404
    hand_client.post(reverse("calendar-make", args=[route.hand.pk]))
    assert CalendarLink.objects.get().person == route.hand
    assert len(CalendarLink.objects.get().token) >= 16  # 80 bits and more
    assert hand_client.get(reverse("calendar")).content.count(b".ics") == 2  # as text and as a link
