"""What was seen before price or payout changed tells less about what comes. How much less, `bench forecast` says."""

import numpy as np
import pytest
from django.urls import reverse

from locations.placements.queries import standing
from machines.cabinets.actions import change_settings
from machines.cabinets.actions_meter_changes import Closing, change_price
from machines.cabinets.actions_meters import take_reading
from routeapp.kit import clock
from routeapp.planning.queries_intervals import histories
from routeapp.planning.queries_outlook import outlook
from routeapp.planning.rules_ahead import since_change
from routeapp.planning.rules_learn import Known, learn
from routeapp.planning.rules_rate import Prior, Stretch, filtered, side_by_side
from tests.earnings import story

NOW = story.utc(20, 12)
PRIOR = Prior(shape=2.0, mean=20.0, size=2.0, drift=0.02)


@pytest.fixture
def route(owner):
    """C3 is played 40 times a day and gives 4 prizes."""
    made = story.make_route(owner)
    for day, found in ((1, None), (6, 40), (12, 36), (18, 36)):
        one = story.entry(made, 3, reading=100 + 40 * (day - 1), cents=100, found=found, loaded=60 - (found or 0))
        story.visit(made, made.cafe, story.utc(day, 10), one)
    return made


def believed(*newer, changed=False):
    """Of a cabinet that was played 20 times a day for 20 weeks, and then as the newer intervals say."""
    before = [Stretch(7.0, 140)] * 20
    told = [*before, *(Stretch(7.0, plays, False, changed and not number) for number, plays in enumerate(newer))]
    return filtered(side_by_side([told]), PRIOR).belief


def spread(belief):
    return float(np.log(belief.quantile(0.9) / belief.quantile(0.1))[0])


def test_new_level_is_learned_sooner_where_the_price_changed():
    known, unknown = (float(believed(70, changed=one).mean[0]) for one in (True, False))
    assert (10 < known < unknown < 20, known < 0.85 * unknown) == (True, True)


def test_after_a_change_of_price_nothing_else_is_believed_but_less_surely():
    before = believed()
    after = before.changed()
    assert float(after.mean[0]) == pytest.approx(float(before.mean[0]), rel=0.05)
    assert spread(after) > 1.5 * spread(before)


def test_change_after_the_last_interval_is_waited_for_and_one_within_counts_for_the_interval():
    looks = [(day, day + 7.0, 140, False, 0.0) for day in range(0, 140, 7)]
    same, at_the_end, within = (Known("claw", 1, looks, changes=moments) for moments in ([], [140.0], [135.0]))
    taught = learn([same])
    one, other, third = taught.beliefs([same, at_the_end, within])
    assert spread_of(one) < spread_of(third) < spread_of(other)
    assert [stretch.changed for stretch in taught.stretches(within)] == [False] * 19 + [True]


SHORT = 140 + 10 / 1440  # ten minutes later somebody reads the meter again


@pytest.mark.parametrize(
    "newer",
    [
        [(140.0, SHORT, 0, False, 0.0), (SHORT, 147.0, 70, False, 0.0)],
        [(140.0, 147.0, 0, False, 7.0), (147.0, 154.0, 70, False, 0.0)],  # all its days fell in a stop
        [(140.0, SHORT, 0, False, 0.0)],
    ],
)
def test_change_in_an_interval_that_tells_nothing_counts_for_the_next_that_does_or_is_waited_for(newer):
    looks = [(day, day + 7.0, 140, False, 0.0) for day in range(0, 140, 7)] + newer
    same, changed = Known("claw", 1, looks), Known("claw", 1, looks, changes=[140 + 5 / 1440])
    one, other = learn([same]).beliefs([same, changed])
    assert spread_of(one) < spread_of(other)


def spread_of(belief):
    return float(np.log(belief.quantile(0.9) / belief.quantile(0.1)))


def test_prizes_won_before_a_change_count_as_few():
    assert since_change(180, 1700, 160, 1600) == pytest.approx((20 + 1 / 0.09, 100 + 10 / 0.09))
    assert since_change(9, 70, 5, 50) == (9, 70)


@pytest.mark.django_db
def test_price_is_changed_and_the_forecast_is_less_sure(route, owner, owner_client, monkeypatch):
    machine = route.meters[2].machine

    def wide(now):
        found = outlook(now).forecasts[machine.pk]
        return found.plays_high - found.plays_low

    take_reading(meter=route.meters[2], value=860, by=owner, at=NOW, received_at=NOW)
    told = story.utc(20, 12, 30)
    change_settings(machine=machine, credits_per_coin=1, by=owner, at=told, received_at=told)  # as it stood
    before, at = wide(story.utc(20, 14)), story.utc(20, 13)
    change_price(machine=machine, price_cents=200, closing=Closing(862), by=owner, at=at, received_at=at)
    assert wide(story.utc(20, 14)) > 1.05 * before
    coins = story.utc(20, 14)
    change_settings(machine=machine, credits_per_coin=2, by=owner, at=coins, received_at=coins)
    again = story.utc(20, 14, 30)
    change_settings(machine=machine, credits_per_coin=2, grip_strength=60, by=owner, at=again, received_at=again)
    history = histories(standing().filter(machine=machine), story.utc(20, 15))[machine.pk]
    assert (history.repriced, history.turned) == ([at, coins], None)
    monkeypatch.setattr(clock, "now", lambda: story.utc(20, 15))
    page = owner_client.get(reverse("cabinet-forecast", args=["C3"])).text
    assert ("<dt>New price</dt>" in page, "<dt>Grip or payout</dt>" in page) == (True, False)


@pytest.mark.django_db
def test_grip_is_turned_and_the_share_of_prizes_is_learned_anew(route, owner):
    facts = {"machine": route.meters[2].machine, "by": owner, "received_at": NOW}
    for number, won in ((1, 8), (2, 8), (3, 30)):  # what the kind does is known by then
        story.visit(
            route, route.cafe, story.utc(18 + 2 * number, 10),
            story.entry(route, 3, reading=780 + 80 * number, found=60 - won, loaded=won), name=f"more {number}",
        )  # fmt: skip
    told = histories(standing().filter(machine=facts["machine"]), story.utc(25, 10))[facts["machine"].pk]
    assert told.share_evidence == (told.won, told.plays_by_then) == (114, 920)

    for day, grip in ((19, 50), (22, 60), (23, 60)):
        change_settings(grip_strength=grip, at=story.utc(day, 10), **facts)
    told = histories(standing().filter(machine=facts["machine"]), story.utc(25, 10))[facts["machine"].pk]
    assert (told.turned, told.won_before) == (story.utc(22, 10), 84)
    assert told.share_evidence == pytest.approx((30 + 1 / 0.09, 80 + 10 / 0.09))

    seen = outlook(story.utc(25, 10))
    shape, rate = seen.learned.won_of("claw")
    won, plays = told.share_evidence
    assert seen.share.part[seen.row[facts["machine"].pk]] == pytest.approx((shape + won) / (rate + plays))
