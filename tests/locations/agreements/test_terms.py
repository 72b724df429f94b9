"""What an agreement gives, worked out on paper. Amounts in cents."""

from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from locations.agreements import rules
from locations.agreements.rules_periods import Rhythm, Stretch, cut
from locations.agreements.rules_terms import (
    Deal,
    Earned,
    TermLine,
    deal_on,
    owed,
    parts,
    problem_of,
    share_on_the_spot,
    sum_of,
    total,
)

JUNE = Stretch(date(2026, 6, 1), date(2026, 6, 30))


def share(rate_bp, above=0):
    return TermLine("share", rate_bp=rate_bp, above_cents=above, per="month" if above else "")


def fixed(kind, cents, per="month"):
    return TermLine(kind, cents=cents, per="" if kind == "visit" else per)


def deal(*terms, **chosen):
    usual = {"machine": None, "starts_on": date(2026, 1, 1), "ends_on": None, "settled": Rhythm("month")}
    return Deal(**{"agreement": 1, "location": 1, "paid": "cheque", "terms": terms} | usual | chosen)


def paid(agreed, earned, stretch=JUNE):
    return sum_of(owed(agreed, earned, stretch))


@pytest.mark.parametrize(
    ("agreed", "words"),
    [
        (deal(share(4000)), "40 % of the take"),
        (deal(share(3750)), "37.5 % of the take"),
        (deal(share(0)), "no share of the take"),
        (deal(), "nothing agreed"),
        (
            deal(share(4000), fixed("minimum", 2500), tax_by="shared"),
            "40 % of the take after tax, at least $25 a month",
        ),
        (deal(fixed("rent", 2050, "week"), fixed("visit", 500)), "a rent of $20.50 a week and $5 for each visit"),
        (
            deal(share(3000), share(4000, 50_000), share(5000, 100_000), fixed("cap", 90_000)),
            "30 % of the take up to $500 a month, 40 % of what is above up to $1,000 a month and 50 % of what is "
            "above, at most $900 a month",
        ),
        (
            deal(share(3000), share(4000, 50_000), tiers_on="whole"),
            "30 % of the take, or 40 % of all of it once it is above $500 a month",
        ),
        (
            deal(share(4000), tax_by="shared", card_fees_by="shared", refunds_by="host"),
            "40 % of the take after tax and card fees, less refunds",
        ),
    ],
)
def test_terms_in_words(agreed, words):
    assert rules.terms_in_words(agreed) == words
    assert rules.in_words(agreed, "by cheque") == f"{words}, settled every month, paid by cheque"


def test_days_of_settling_in_words():
    thursday = date(2026, 6, 25)
    assert rules.rhythm_in_words(Rhythm("last")) == "on the last Friday of every month"
    assert rules.rhythm_in_words(Rhythm("last", thursday)) == "on the last Thursday of every month"
    assert rules.rhythm_in_words(Rhythm("week", thursday)) == "every week"


# Half up: 0.125 of a cent-and-a-bit goes to 0.13 where bankers' rounding gives 0.12; 2.675 as a binary float would
# give 2.67. Arithmetic of ROUND_HALF_UP in Python's decimal documentation.
@pytest.mark.parametrize(("take", "rate_bp", "cents"), [(125, 1000, 13), (2675, 1000, 268), (1, 5000, 1), (1, 4999, 0)])
def test_share_is_rounded_half_up_once(take, rate_bp, cents):
    line, *others = owed(deal(share(rate_bp)), Earned(take=take), JUNE)
    assert (line.base_cents, line.rate, line.cents, others) == (take, Fraction(rate_bp, 10_000), cents, [])


def test_costs_come_off_before_the_share_or_out_of_the_hosts_part():
    earned = Earned(take=100_000, tax=4_000, card_fees=1_000, prize_cost=25_000, refunds=500)
    assert paid(deal(share(4000)), earned) == 40_000
    assert paid(deal(share(4000), tax_by="shared"), earned) == 38_400
    assert paid(deal(share(4000), tax_by="shared", card_fees_by="shared", prize_cost_by="shared"), earned) == 28_000
    assert paid(deal(share(4000), refunds_by="shared"), earned) == 39_800
    assert paid(deal(share(4000), refunds_by="host", card_fees_by="host"), earned) == 38_500


def test_tiers_on_the_part_and_on_the_whole():
    tiers = (share(3000), share(4000, 50_000))
    assert [(line.base_cents, line.cents) for line in owed(deal(*tiers), Earned(take=60_000), JUNE)] == [
        (50_000, 15_000),
        (10_000, 4_000),
    ]
    assert paid(deal(*tiers, tiers_on="whole"), Earned(take=50_000)) == 15_000
    assert paid(deal(*tiers, tiers_on="whole"), Earned(take=50_001)) == 20_000


def test_sums_hold_for_the_days_of_a_part():
    half = Stretch(date(2026, 6, 16), date(2026, 6, 30))
    agreed = deal(share(3000), share(4000, 50_000), fixed("rent", 2000), fixed("visit", 500))
    assert [line.cents for line in owed(agreed, Earned(take=30_000, visits=3), half)] == [7_500, 2_000, 1_000, 1_500]
    assert paid(deal(fixed("rent", 700, "week")), Earned(), JUNE) == 3_000
    assert paid(deal(share(4000), fixed("minimum", 2500)), Earned(take=100), half) == 1_250
    assert paid(deal(share(4000), fixed("cap", 2500)), Earned(take=100_000), half) == 1_250


def test_what_lifts_and_cuts_says_so():
    low = owed(deal(share(4000), fixed("minimum", 2500)), Earned(take=1000), JUNE)
    assert [(line.words, line.cents) for line in low] == [
        ("40 % of the take", 400),
        ("Brought up to at least $25.00 a month", 2_100),
    ]
    high = owed(deal(share(4000), fixed("cap", 2500, "week")), Earned(take=100_000), JUNE)
    assert [(line.words, line.cents) for line in high][1:] == [
        ("Cut to at most $25.00 a week for 30 days", 10_714 - 40_000)
    ]


def test_a_negative_base_is_said_and_counts_as_nothing():
    [line] = owed(deal(share(4000), refunds_by="shared"), Earned(take=1000, refunds=1500), JUNE)
    assert (line.base_cents, line.cents) == (-500, 0)
    assert line.words == "Nothing to share: refunds come to $5.00 more than the take. That is not carried on"
    lines = owed(deal(share(4000), refunds_by="host"), Earned(take=1000, refunds=1500), JUNE)
    assert [line.cents for line in lines] == [400, -1500, 1100]
    assert lines[-1].words == "What the host bears is more than its part. The rest is not carried on"


def test_a_cabinets_own_terms_go_before_those_of_the_location():
    of_all, of_one = deal(share(4000)), deal(share(5000), machine=7, agreement=2, starts_on=date(2026, 3, 1))
    assert deal_on([of_all, of_one], date(2026, 2, 1), 7) == of_all
    assert deal_on([of_all, of_one], date(2026, 3, 1), 7) == of_one
    assert deal_on([of_all, of_one], date(2026, 3, 1), 8) == of_all
    assert deal_on([of_one], date(2026, 3, 1)) is None


def test_a_period_is_cut_where_the_terms_change():
    old = deal(share(4000), ends_on=date(2026, 6, 9))
    new = deal(share(5000), agreement=2, starts_on=date(2026, 6, 21))
    assert parts([old, new], JUNE) == [
        (Stretch(date(2026, 6, 1), date(2026, 6, 9)), old),
        (Stretch(date(2026, 6, 10), date(2026, 6, 20)), None),
        (Stretch(date(2026, 6, 21), date(2026, 6, 30)), new),
    ]
    other = new._replace(machine=3)
    assert parts([old._replace(ends_on=None), other], JUNE, machine=4) == [(JUNE, old._replace(ends_on=None))]


@pytest.mark.parametrize(
    ("terms", "field"),
    [
        ([share(10_001)], "share"),
        ([share(4000, 100)], "share"),
        ([share(3000), share(4000, 100), share(5000, 100)], "tier_2_above"),
        ([share(3000), share(4000, 100), TermLine("share", 5000, 200, per="week")], "tiers_per"),
        ([fixed("minimum", 2500, "week"), fixed("cap", 9900)], "cap"),
        ([fixed("minimum", 2500, "week"), fixed("cap", 10_000)], "cap"),
    ],
)
def test_terms_that_contradict_themselves(terms, field):
    assert problem_of(terms).field == field


@pytest.mark.parametrize("cap", [11_072, 20_000])
def test_a_least_and_a_most_that_go_together(cap):
    assert problem_of([share(4000), fixed("minimum", 2500, "week"), fixed("cap", cap)]) is None


days = st.dates(date(2025, 1, 1), date(2027, 12, 31))
stretches = st.builds(lambda since, length: Stretch(since, since + timedelta(length)), days, st.integers(0, 120))
cents = st.integers(0, 500_000)
rates = st.integers(0, 10_000)
tiers = st.lists(st.tuples(rates, st.integers(1, 200_000)), max_size=3, unique_by=lambda one: one[1])


@given(rates, tiers, stretches, cents, cents)
def test_tiers_on_the_part_are_continuous_and_never_fall(first, more, stretch, take, step):
    agreed = deal(share(first), *(share(*one) for one in more))
    low, high = paid(agreed, Earned(take=take), stretch), paid(agreed, Earned(take=take + step), stretch)
    rounding = len(agreed.terms)  # half a cent for each line, on both sides
    assert -rounding <= high - low <= step + rounding
    rising = deal(*(share(rate, above) for rate, above in _rising(first, more)), tiers_on="whole")
    assert paid(rising, Earned(take=take), stretch) <= paid(rising, Earned(take=take + step), stretch)


def _rising(first, more):
    rates = sorted([first, *(rate for rate, _ in more)])
    return zip(rates, [0, *sorted(above for _, above in more)], strict=True)


@given(
    rates, stretches, cents, cents, st.integers(1, 50_000), st.integers(1, 50_000), st.sampled_from(["week", "month"])
)
def test_what_is_paid_lies_between_least_and_most(rate, stretch, take, refunds, one, other, per):
    least, most = sorted([one, other])
    agreed = deal(share(rate), fixed("minimum", least, per), fixed("cap", most, per), refunds_by="host")
    floor = paid(deal(fixed("rent", least, per)), Earned(), stretch)
    ceiling = paid(deal(fixed("rent", most, per)), Earned(), stretch)
    assert floor <= paid(agreed, Earned(take=take, refunds=refunds), stretch) <= ceiling


@given(rates, stretches, st.lists(days, max_size=4), st.data())
def test_parts_of_a_period_add_up_to_the_whole_within_a_cent_a_line(rate, stretch, starts, data):
    agreed = deal(share(rate), fixed("rent", 2050, "week"), fixed("rent", 3333), fixed("visit", 500))
    pieces = cut(stretch, starts)
    earned = [Earned(take=data.draw(cents), visits=data.draw(st.integers(0, 3))) for _ in pieces]
    whole = paid(agreed, total(earned), stretch)
    apart = sum(paid(agreed, one, piece) for one, piece in zip(earned, pieces, strict=True))
    assert pieces[0].since == stretch.since
    assert sum(piece.days for piece in pieces) == stretch.days
    assert abs(whole - apart) <= 3 * len(pieces)


@given(st.permutations([Earned(take=7), Earned(take=11, card_fees=1), Earned(refunds=3), Earned(tax=2, visits=1)]))
def test_the_order_of_facts_does_not_matter(facts):
    agreed = deal(share(3333), refunds_by="shared", tax_by="shared")
    assert owed(agreed, total(facts), JUNE) == owed(agreed, Earned(18, 3, 2, 1, 0, 1), JUNE)


AT_ONCE = {"settled": Rhythm("visit")}


@pytest.mark.parametrize(
    ("deals", "rate"),
    [
        ([deal(share(2500), **AT_ONCE)], 2500),
        ([deal(share(2500))], 0),
        ([deal(share(2500), fixed("minimum", 6000), **AT_ONCE)], 0),
        ([deal(share(2500, above=10_000), **AT_ONCE)], 0),
        ([deal(share(2500), tax_by="shared", **AT_ONCE)], 0),
        ([deal(share(2500), **AT_ONCE), deal(share(3000), machine=4, **AT_ONCE)], 0),
        ([deal(fixed("rent", 5000), **AT_ONCE)], 0),
        ([], 0),
    ],
)
def test_share_is_said_on_the_spot_where_nothing_else_is_to_be_reckoned(deals, rate):
    assert share_on_the_spot(deals) == rate
