"""Opening hours: typed once, said in words, asked at a moment."""

from datetime import UTC, datetime, time

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from locations.models import OpeningHours
from locations.sites import queries, rules
from locations.sites.queries import Day
from tests.factories import LocationFactory

NINE, NOON, TWO, SIX = time(9), time(12), time(14), time(18)


@pytest.fixture
def shop(db):
    return LocationFactory(name="Mill Lane", time_zone="America/New_York")


def save(client, location, **fields):
    return client.post(
        reverse("location-hours", args=[location.pk]), {key.replace("_", "-", 1): v for key, v in fields.items()}
    )


@pytest.mark.parametrize(
    ("stretches", "words"),
    [
        ([], "closed"),
        ([(NINE, SIX)], "09:00–18:00"),
        ([(NINE, NOON), (TWO, SIX)], "09:00–12:00, 14:00–18:00"),
        ([(SIX, rules.END_OF_DAY)], "18:00–24:00"),
        ([rules.ALL_DAY], "open all day"),
    ],
)
def test_hours_in_words(stretches, words):
    assert rules.in_words(stretches) == words


@pytest.mark.parametrize(
    ("moment", "is_open"),
    [("08:59:59", False), ("09:00", True), ("11:59:59", True), ("12:00", False), ("14:00", True), ("18:00", False)],
)
def test_open_from_the_first_minute_to_before_the_last(moment, is_open):
    hours = {0: [(NINE, NOON), (TWO, SIX)]}
    assert rules.is_open(hours, datetime.fromisoformat(f"2026-06-01T{moment}")) is is_open  # a Monday


def test_open_all_day_includes_its_last_second():
    assert rules.is_open({0: [rules.ALL_DAY]}, datetime(2026, 6, 1, 23, 59, 59, 999999))  # noqa: DTZ001


def test_open_now_follows_the_location_s_clock(shop):
    OpeningHours.objects.create(location=shop, weekday=6, opens=time(20), closes=rules.END_OF_DAY)
    # New York is four hours behind UTC in June: Monday 01:00 UTC is Sunday 21:00 there.
    assert queries.open_now(shop, datetime(2026, 6, 1, 1, tzinfo=UTC)) is True
    assert queries.open_now(shop, datetime(2026, 6, 1, 21, tzinfo=UTC)) is False


def test_hours_nobody_wrote_down_are_not_known(shop, noon):
    assert queries.open_now(shop, noon) is None
    assert queries.hours_by_day(shop) == []


def test_week_is_saved_and_read_in_words(hand_client, shop):
    tuesday = {"day1_opens": "09:00", "day1_closes": "12:00", "day1_opens_again": "14:00", "day1_closes_again": "00:00"}
    response = save(hand_client, shop, day0_all_day="on", **tuesday)
    assert response.url == reverse("location", args=[shop.pk])
    week = queries.hours_by_day(shop)
    assert week[:3] == [
        Day("Monday", "open all day"),
        Day("Tuesday", "09:00–12:00, 14:00–24:00"),
        Day("Wednesday", "closed"),
    ]
    assert len(week) == 7


def test_saving_replaces_the_week_before_and_shows_it_again(hand_client, shop):
    save(hand_client, shop, day0_opens="09:00", day0_closes="18:00")
    save(hand_client, shop, day5_opens="10:00", day5_closes="00:00")
    assert [(row.weekday, row.closes) for row in shop.opening_hours.all()] == [(5, rules.END_OF_DAY)]
    page = hand_client.get(reverse("location-hours", args=[shop.pk])).content.decode()
    assert 'name="day5-closes" value="00:00"' in page


def test_monday_is_copied_until_friday_and_saved_only_when_asked(hand_client, shop):
    monday = {"day0_opens": "09:00", "day0_closes": "18:00", "day2_all_day": "on", "day6_opens": "11:00"}
    response = save(hand_client, shop, copy="1", **monday)
    assert response.status_code == 200
    shown = {day.day.label: (day["opens"].value(), day["all_day"].value()) for day in response.context["days"]}
    assert shown["Wednesday"] == ("09:00", False)
    assert shown["Friday"] == ("09:00", False)
    assert shown["Saturday"] == (None, False)
    assert shown["Sunday"] == ("11:00", False)
    assert OpeningHours.objects.count() == 0


@pytest.mark.parametrize(
    "fields",
    [
        {"day0_opens": "18:00", "day0_closes": "09:00"},
        {"day0_opens": "18:00", "day0_closes": "18:00"},
        {"day0_opens": "09:00"},
        {"day0_closes_again": "09:00"},
        {"day0_opens": "09:00", "day0_closes": "14:00", "day0_opens_again": "12:00", "day0_closes_again": "18:00"},
        {"day0_opens": "25:00", "day0_closes": "26:00"},
        {"day0_opens": "nine", "day0_closes": "\x00"},
    ],
)
def test_hours_that_cannot_be_are_questioned_and_kept_in_the_form(hand_client, shop, fields):
    response = save(hand_client, shop, **fields, day1_opens="10:00", day1_closes="11:00")
    assert response.status_code == 422
    assert response.context["days"][0].errors
    assert response.context["days"][1]["opens"].value() == "10:00"
    assert OpeningHours.objects.count() == 0


@pytest.mark.parametrize(
    "row",
    [
        {"weekday": 7, "opens": NINE, "closes": NOON},
        {"weekday": 0, "opens": NOON, "closes": NINE},
        {"weekday": 0, "opens": NOON, "closes": NOON},
    ],
)
def test_database_refuses_hours_that_cannot_be(shop, row):
    with pytest.raises(IntegrityError), transaction.atomic():
        OpeningHours.objects.create(location=shop, **row)


def test_database_holds_one_stretch_from_one_moment(shop):
    OpeningHours.objects.create(location=shop, weekday=0, opens=NINE, closes=NOON)
    with pytest.raises(IntegrityError), transaction.atomic():
        OpeningHours.objects.create(location=shop, weekday=0, opens=NINE, closes=SIX)
