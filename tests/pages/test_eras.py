"""What the settings of a cabinet did: plays and prizes between one change and the next."""

from datetime import timedelta

import pytest
from django.urls import reverse

from machines.cabinets.actions import change_settings
from routeapp.earnings.rules_patterns import chance
from routeapp.pages.rules import Era, Seen, eras
from tests.earnings import story
from tests.pages.test_pages import text_of

WEEK = timedelta(days=7)


def weeks(*told):
    """A visit a week at noon: (plays, prizes won), or (plays, None) where nobody counted."""
    start = story.utc(2, 12)
    rows = [Seen(start, 0, 0, True)]
    for number, (plays, won) in enumerate(told, 1):
        rows.append(Seen(start + number * WEEK, plays, won or 0, won is not None))
    return rows


def test_a_change_at_a_visit_holds_from_then_on():
    change = story.utc(16, 12)
    assert eras(weeks((60, 8), (60, 8), (55, 4), (55, 4), (50, 4)), [change]) == [
        Era(change, 160, 12, 3 * WEEK),
        Era(None, 120, 16, 2 * WEEK),
    ]


def test_a_change_between_visits_leaves_that_stretch_out():
    change = story.utc(12, 12)
    assert eras(weeks((60, 8), (60, 6), (55, 4)), [change]) == [Era(change, 55, 4, WEEK), Era(None, 60, 8, WEEK)]


def test_a_visit_without_count_or_reading_belongs_to_the_next():
    change = story.utc(16, 12)
    told = weeks((60, 8), (60, None), (None, 7), (110, 9))
    assert eras(told, [change]) == [Era(None, 60, 8, WEEK)]  # the change lies within what the last count is of
    assert eras(told, []) == [Era(None, 230, 24, 4 * WEEK)]


def test_what_a_meter_in_question_says_is_left_out():
    first, second, third = weeks((60, 8), (9000, 2))
    told = [first, second, Seen(third.at, 9000, 2, True, doubtful=True)]
    assert eras(told, []) == [Era(None, 60, 8, WEEK)]
    assert eras([], []) == []


@pytest.mark.parametrize(("before", "since", "told"), [((120, 16), (160, 12), False), ((600, 80), (800, 60), True)])
def test_payouts_differ_when_chance_hardly_does_that(before, since, told):
    # The arithmetic of Fisher's exact test from its definition: twice the upper tail is 0.16 and 0.0008.
    assert (2 * chance(before[1], before[0], before[1] + since[1], before[0] + since[0]) < 0.05) is told
    old, new = Era(None, *before, WEEK), Era(story.utc(16, 12), *since, WEEK)
    assert (new.differs_from(old), old.differs_from(new)) == (told, told)


@pytest.mark.django_db
@pytest.mark.usefixtures("year_2026")
def test_cabinet_says_whether_the_payout_moved(owner, owner_client):
    route = story.make_route(owner)
    for number, (reading, found) in enumerate(((100, None), (220, 34), (380, 38))):
        one = story.entry(route, 1, reading=reading, cents=0, found=found, loaded=50 if found is None else 50 - found)
        story.visit(route, route.arcade, story.utc(2 + 7 * number, 18), one)
    facts = {"machine": route.meters[0].machine, "by": owner, "received_at": story.RECEIVED}
    change_settings(at=story.utc(9, 18), grip_strength=45, payout_target=12, **facts)

    page = text_of(owner_client.get(reverse("cabinet", args=["C1"])))

    assert "1 prize in 13 plays, aims at 1 in 12 Before the settings changed on Mon 9 Mar, 13:00 : 1 in 8. " in page
    assert "So far that may be chance." in page
    assert "160 plays then, 22.9 a day, 12 prizes won: 1 in 13" in page
