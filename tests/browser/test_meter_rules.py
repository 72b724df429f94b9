"""The phone counts as the server does: one table of examples, run on both sides."""

import random
from datetime import UTC, datetime, timedelta

import pytest

from machines.cabinets import rules
from machines.cabinets.rules import Explanation, Shown
from tests.browser.conftest import sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

START = datetime(2026, 3, 2, 10, tzinfo=UTC)
WEEK = 604_800
EDGES = [
    {"last": 999_950, "value": 120, "digits": 6, "seconds": WEEK, "perPlay": 1, "tests": 0, "explained": ""},
    {"last": 1_000, "value": 990, "digits": 6, "seconds": WEEK, "perPlay": 1, "tests": 0, "explained": ""},
    {"last": 1_000, "value": 990, "digits": 6, "seconds": WEEK, "perPlay": 1, "tests": 0, "explained": "rolled_over"},
    {"last": 0, "value": 100, "digits": 6, "seconds": 1, "perPlay": 1, "tests": 0, "explained": ""},
    {"last": 100, "value": 104, "digits": 6, "seconds": WEEK, "perPlay": 4, "tests": 9, "explained": ""},
]


def table(size=300):
    """Edge cases, and seeded ones around every boundary."""
    chance = random.Random(17)
    drawn = [
        {
            "last": chance.choice([0, 5, 990, 1_000, 50_000, 99_990, 999_950]),
            "value": chance.choice([0, 5, 990, 1_000, 50_060, 99_999, 120, 80_000]),
            "digits": chance.choice([5, 6, 7]),
            "seconds": chance.choice([0, 60, 86_400, 604_800, 34_560_000]),
            "perPlay": chance.choice([1, 4]),
            "tests": chance.choice([0, 3]),
            "explained": chance.choice(["", *(str(one) for one in Explanation if one != Explanation.LAST_WAS_WRONG)]),
        }
        for _ in range(size)
    ]
    return EDGES + drawn


def on_the_server(case):
    end = START + timedelta(seconds=case["seconds"])
    found = rules.interval(
        Shown(key=1, at=START, value=case["last"]),
        Shown(key=2, at=end, value=case["value"], tests_before=case["tests"], explained_as=case["explained"]),
        case["digits"],
        case["perPlay"],
    )
    return {"counts": found.counts, "how": found.how}


def test_phone_and_server_count_alike(open_phone, business, owner):
    cases = table()
    page = open_phone()
    page.goto("/sign-in/")
    sign_in(page, "ines")

    on_the_phone = page.evaluate("async (cases) => cases.map((await import('/static/js/rules.js')).interval)", cases)

    assert on_the_phone == [on_the_server(case) for case in cases]
