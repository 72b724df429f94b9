"""Periods of carriers' laws, business days, and the force a ramp asks for."""

from datetime import date

import pytest

from machines.arrivals.queries_claims import us_holidays
from machines.arrivals.rules_checklist import ramp_force, ramp_words
from machines.arrivals.rules_clocks import Regime, Unit, clocks, deadline, last_day

DELIVERED = date(2026, 7, 1)  # a Wednesday; Friday the 3rd is the holiday of Saturday the 4th


def periods(regime, happened=None, **fields):
    free = us_holidays(2026)
    told = {"delivery": DELIVERED, **(happened or {})}
    return {one.what: deadline(one, told, free).on for one in clocks(regime, DELIVERED, **fields)}


# Three days' notice and one year for suit: COGSA, note to 46 USC 30701, and Article III rule 6 of the Hague and
# Hague-Visby Rules; https://supremecourt.uk/cases/judgments/uksc-2023-0085 for the year.
@pytest.mark.parametrize("regime", [Regime.COGSA, Regime.HAGUE])
def test_by_sea_three_days_and_a_year(regime):
    assert periods(regime) == {
        "Notice in writing of damage not apparent": date(2026, 7, 4),  # a holiday on a Saturday counts as any day
        "Suit": date(2027, 7, 1),
    }


# 49 USC 14706(e)(1): not under nine months for a claim, nor two years from disallowance for suit.
def test_by_road_nine_months_and_two_years_from_the_refusal():
    claim = "Claim in writing with its amount (the shortest a carrier may set)"
    suit = "Suit (the shortest a carrier may set)"
    assert periods(Regime.CARMACK) == {claim: date(2027, 4, 1), suit: None}
    assert periods(Regime.CARMACK, {"refused": date(2026, 9, 15)})[suit] == date(2028, 9, 15)


# NMFC item 300135-A, from 18 April 2015, https://nafem.org/?p=2150: five business days.
def test_concealed_damage_is_reported_in_business_days():
    assert periods(Regime.LTL)["Report of concealed damage"] == date(2026, 7, 9)


def test_a_rule_holds_from_its_day_on():
    assert [one.what for one in clocks(Regime.LTL, date(2015, 4, 17))] == [
        "Claim in writing with its amount (the shortest a carrier may set)"
    ]


# Montreal Convention, Articles 31 and 35: from memory.
def test_by_air_fourteen_days_and_two_years():
    assert periods(Regime.AIR) == {"Complaint in writing of damage": date(2026, 7, 15), "Suit": date(2028, 7, 1)}


def test_a_promise_runs_by_its_own_days():
    assert periods(Regime.PROMISE, promise_days=7) == {"Tell the supplier": date(2026, 7, 8)}


def test_late_notice_by_sea_shifts_the_proof_and_does_not_bar_the_claim():
    assert clocks(Regime.COGSA, DELIVERED)[0].late == (
        "Without written notice the delivery counts as proof of goods in the state the transport document describes, "
        "until you prove otherwise. The right to claim is not lost by that alone."
    )


@pytest.mark.parametrize(
    ("start", "months", "end"),
    [
        (date(2026, 1, 31), 1, date(2026, 2, 28)),
        (date(2027, 12, 31), 2, date(2028, 2, 29)),
        (date(2026, 3, 15), 9, date(2026, 12, 15)),
        (date(2026, 11, 30), 1, date(2026, 12, 30)),
    ],
)
def test_months_end_on_the_same_number_or_the_last_day(start, months, end):
    assert last_day(start, months, Unit.MONTHS) == end


def test_a_period_is_missed_only_after_its_last_day():
    notice = deadline(clocks(Regime.COGSA, DELIVERED)[0], {"delivery": DELIVERED})
    met_late = deadline(clocks(Regime.COGSA, DELIVERED)[0], {"delivery": DELIVERED, "notice": date(2026, 7, 5)})
    assert [notice.is_missed(date(2026, 7, day)) for day in (4, 5)] == [False, True]
    assert (met_late.is_missed(DELIVERED), met_late.runs()) == (True, False)


# W · sin(atan(1/12)) at 4.7636°; worked out, no published table.
@pytest.mark.parametrize(("weight", "force"), [(300, 24.91), (250, 20.76)])
def test_force_on_a_ramp_of_one_in_twelve(weight, force):
    assert ramp_force(weight) == pytest.approx(force, abs=0.005)


def test_ramp_words_say_nothing_without_a_weight():
    assert ramp_words(None) == ""
    assert ramp_words(120) == (
        "On a ramp of 1 in 12, holding back its 120 kg (265 lb) takes about 10 kg (22 lb), before the wheels' friction."
    )
