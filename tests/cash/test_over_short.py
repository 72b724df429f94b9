"""Who filled the bags that were over or short, and in which days."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from routeapp.cash.forms import DaysForm
from routeapp.cash.queries_bag import over_short
from tests import factories
from tests.visits import books

DAYS = (date(2026, 6, 1), date(2026, 6, 1))


@pytest.fixture
def filled(world, count):
    """A bag filled by `person` with 100.00, in which `found` was counted."""

    def fill(name, person, found, **counted):
        entry = books.entry(world, name, cents=10000)
        books.record(world, books.document(world, name, entries=[entry]), by=person)
        bag = books.queries_cash.bags().get(uuid=books.some_id(f"bag {name}"))
        count(bag, found, **counted)
        return bag

    return fill


def told(since, until, zone="UTC"):
    return [
        (str(one.person), len(one.bags), len(one.differing), one.short, one.over, one.net)
        for one in over_short(since, until, zone)
    ]


def test_differences_add_up_by_who_filled_the_bag(filled, route_hand, owner):
    for number, found in enumerate((9700, 10000, 10050, 9990)):
        filled(f"t{number}", route_hand, found)
    filled("i", owner, 10100)
    assert told(*DAYS) == [("tomas", 4, 3, 310, 50, -260), ("ines", 1, 1, 0, 100, 100)]


def test_withdrawn_and_repeated_counts_leave_the_one_that_holds(filled, count, route_hand, noon):
    bag = filled("a", route_hand, 9000)
    count(bag, 9900, at=noon + timedelta(minutes=1))
    assert told(*DAYS) == [("tomas", 1, 1, 100, 0, -100)]
    count(bag, 10000, at=noon + timedelta(days=1))
    assert told(*DAYS) == []


def test_sealed_bag_has_no_figure_to_compare_with(sealed, count):
    count(sealed(7000), 6000)
    assert told(*DAYS) == []


def test_days_are_those_of_the_business(filled, route_hand, noon):
    filled("a", route_hand, 9700, at=noon.replace(hour=3))  # 10 in the evening before, in Chicago
    assert told(*DAYS, zone="America/Chicago") == []
    assert told(date(2026, 5, 31), date(2026, 5, 31), zone="America/Chicago") == [("tomas", 1, 1, 300, 0, -300)]


def test_page_opens_to_the_bags(office, filled, route_hand):
    bag = filled("a", route_hand, 9700)
    page = office.get(reverse("over-short"), {"since": "2026-06-01", "until": "2026-06-02"}).content.decode()
    assert "Short by $3.00" in page
    assert f'href="{reverse("bag", args=[bag.pk])}"' in page
    assert "A difference has many causes" in page
    assert "since=2026-06-01&amp;until=2026-06-02" in page


def test_page_without_bags_teaches(office, db):
    assert "Nothing to compare" in office.get(reverse("over-short")).content.decode()


def test_persons_name_is_shown_as_text(office, filled):
    filled("a", factories.person("<b>ivo", "route hand"), 9700)
    page = office.get(reverse("over-short"), {"since": "2026-06-01", "until": "2026-06-02"}).content.decode()
    assert "&lt;B&gt;Ivo" in page


TODAY = date(2026, 6, 30)


@pytest.mark.parametrize(
    ("typed", "days"),
    [
        ({}, (date(2026, 4, 2), TODAY)),
        ({"since": "2026-06-01"}, (date(2026, 6, 1), TODAY)),
        ({"until": "2026-05-31"}, (date(2026, 3, 3), date(2026, 5, 31))),
        ({"since": "2026-05-31", "until": "2026-05-01"}, (date(2026, 5, 1), date(2026, 5, 31))),
    ],
)
def test_days_asked_for(typed, days):
    form = DaysForm(typed, today=TODAY)
    assert ((form.first, form.last), form.problem) == (days, "")


@pytest.mark.parametrize("field", ["since", "until"])
@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "1999-12-31", "yesterday", "2026-02-30", "\0", "9" * 40])
def test_days_nobody_can_mean_get_a_sentence_and_a_page(office, field, day):
    response = office.get(reverse("over-short"), {field: day})
    days = response.context["days"]
    assert response.status_code == 200
    assert "Those days cannot be used" in days.problem
    assert (days.last - days.first, days.last) == (timedelta(days=89), timezone.localdate())
