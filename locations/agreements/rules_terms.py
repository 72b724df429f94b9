"""What an agreement gives the host of what was earned in one stretch of days. Amounts in whole minor units.

A deal is an agreement as figures. It is worked out in this order: what comes off the take first; the shares of what is
left, by tiers; rent and fixed sums for visits; what the host bears alone; then the least and the most that was agreed,
over all of it. Each line is rounded half up, once. Sums per week or month hold for the days of the stretch alone.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from locations.agreements.rules_periods import DAY, Per, Period, Rhythm, Stretch, cut, part_of
from routeapp.kit.choices import TextChoices
from routeapp.kit.money import as_text, half_up


class TermKind(TextChoices):
    SHARE = "share", "share of the take"
    RENT = "rent", "rent"
    VISIT = "visit", "fixed sum for each visit"
    MINIMUM = "minimum", "guaranteed least"
    CAP = "cap", "most"


class Bearer(TextChoices):
    """Who bears a cost. Shared means that it comes off the take before that is shared."""

    OPERATOR = "operator", "we do"
    SHARED = "shared", "both: it comes off the take first"
    HOST = "host", "the host does, out of its part"


class Tiers(TextChoices):
    PART = "part", "what is above the figure"
    WHOLE = "whole", "all of the take, once it is above the figure"


ALL_BP = 10_000  # all of the take

COSTS = {"tax": "tax", "card_fees": "card fees", "prize_cost": "prize cost", "refunds": "refunds"}


class TermLine(NamedTuple):
    """One line of an agreement.

    A share has a rate in hundredths of a percent, for what is above `above_cents` `per` week or month (0: of all).
    The others have a sum: per week or month, or for each visit.
    """

    kind: str
    rate_bp: int = 0
    above_cents: int = 0
    cents: int = 0
    per: str = ""


class Deal(NamedTuple):
    """An agreement with one location, or about one cabinet there. It holds up to `ends_on`, None: until further
    notice."""

    agreement: int
    location: int
    machine: int | None
    starts_on: date
    ends_on: date | None
    settled: Rhythm
    paid: str
    terms: tuple[TermLine, ...]
    tiers_on: str = Tiers.PART
    tax_by: str = Bearer.OPERATOR
    card_fees_by: str = Bearer.OPERATOR
    prize_cost_by: str = Bearer.OPERATOR
    refunds_by: str = Bearer.OPERATOR

    @property
    def said(self) -> tuple:
        """All but whom it is about and when it holds."""
        return self[5:]

    def of_kind(self, kind: str) -> Sequence[TermLine]:
        """Its lines of a kind; tiers, lowest first."""
        return _by_kind(self.terms).get(kind, ())

    def borne_by(self, bearer: str) -> Sequence[str]:
        """The costs that somebody bears, by their names in `Earned`."""
        return _borne_by(bearer, self.tax_by, self.card_fees_by, self.prize_cost_by, self.refunds_by)

    def holds_on(self, day: date) -> bool:
        return self.starts_on <= day and (self.ends_on is None or day <= self.ends_on)


@lru_cache(maxsize=1000)
def _by_kind(terms: tuple[TermLine, ...]) -> dict[str, list[TermLine]]:
    """Worked out once for all agreements of the same terms."""
    found: dict[str, list[TermLine]] = {}
    for line in sorted(terms, key=lambda line: (line.above_cents, line)):
        found.setdefault(line.kind, []).append(line)
    return found


@lru_cache(maxsize=1000)
def _borne_by(bearer: str, *by: str) -> Sequence[str]:
    return [cost for cost, one in zip(COSTS, by, strict=True) if one == bearer]


class Earned(NamedTuple):
    """What a cabinet, or all at a location, brought in a stretch. `tax` is what a rule says lies inside the take."""

    take: int = 0
    refunds: int = 0
    tax: int = 0
    card_fees: int = 0
    prize_cost: int = 0
    visits: int = 0


def total(each: Iterable[Earned]) -> Earned:
    some = list(each)
    return some[0] if len(some) == 1 else Earned(*map(sum, zip(*some, strict=True)))


class OwedLine(NamedTuple):
    """`cents` is `base_cents` times `rate`, rounded half up; what a minimum or cap adds or takes is said in words."""

    kind: str
    words: str
    base_cents: int
    rate: Fraction
    cents: int


def owed(deal: Deal, earned: Earned, stretch: Stretch) -> list[OwedLine]:
    """What the host gets for a stretch, line by line; never less than nothing in all."""
    lines = [*_shares(deal, earned, stretch), *_rents(deal, stretch), *_visits(deal, earned), *_borne(deal, earned)]
    return lines + _limits(deal, sum_of(lines), stretch)


def sum_of(lines: Iterable[OwedLine]) -> int:
    return sum(line.cents for line in lines)


def deal_on(deals: Sequence[Deal], day: date, machine: int | None = None) -> Deal | None:
    """What holds on a day: a cabinet's own agreement goes before that of the location. `deals` are of one location."""
    found = None
    for deal in deals:
        if deal.machine in (None, machine) and deal.holds_on(day) and (found is None or deal.machine is not None):
            found = deal
    return found


def share_on_the_spot(deals: Sequence[Deal]) -> int:
    """The share, in hundredths of a percent, of a host settled with at each visit who gets nothing but a part of all
    that is taken; 0 where more has to be reckoned. `deals` hold on one day at one location."""
    if len(deals) != 1 or deals[0].settled.kind != Period.VISIT or len(deals[0].terms) != 1:
        return 0
    (deal,), (term,) = deals, deals[0].terms
    bearers = {deal.tax_by, deal.card_fees_by, deal.prize_cost_by, deal.refunds_by}
    return term.rate_bp if bearers == {Bearer.OPERATOR} and not term.above_cents else 0


def parts(deals: Sequence[Deal], stretch: Stretch, machine: int | None = None) -> list[tuple[Stretch, Deal | None]]:
    """A stretch cut where the terms change, each part with what holds in it."""
    starts = [deal.starts_on for deal in deals] + [deal.ends_on + DAY for deal in deals if deal.ends_on]
    found: list[tuple[Stretch, Deal | None]] = []
    for part in cut(stretch, starts):
        deal = deal_on(deals, part.since, machine)
        if found and found[-1][1] == deal:
            part = Stretch(found.pop()[0].since, part.until)
        found.append((part, deal))
    return found


def listing(words: Sequence[str]) -> str:
    """“a”, “a and b”, “a, b and c”."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


@dataclass(frozen=True)
class Problem:
    """Why terms cannot be; `field` is what a form calls the place to mend it."""

    words: str
    field: str


def problem_of(terms: Sequence[TermLine]) -> Problem | None:
    """What contradicts itself in terms; None when nothing does."""
    shares = [line for line in terms if line.kind == TermKind.SHARE]
    least, most = (next((one for one in terms if one.kind == kind), None) for kind in (TermKind.MINIMUM, TermKind.CAP))
    if any(not 0 <= line.rate_bp <= ALL_BP for line in shares):
        return Problem("A share lies between 0 and 100 percent.", "share")
    if shares and all(line.above_cents for line in shares):
        return Problem("Say what share holds from the first coin on; it may be 0.", "share")
    if len({(line.kind, line.above_cents) for line in terms}) < len(terms):
        return Problem("Two shares start at the same figure.", "tier_2_above")
    if len({line.per for line in shares if line.above_cents}) > 1:
        return Problem("All higher shares count either by the week or by the month.", "tiers_per")
    if least and most and _a_day(least, longest=False) > _a_day(most, longest=True):
        return Problem("The least is more than the most, so both cannot be kept.", "cap")
    return None


def _a_day(line: TermLine, *, longest: bool) -> Fraction:
    """What a sum comes to for one day, in the month where that is least (the longest) or most."""
    return Fraction(line.cents, 7 if line.per == Per.WEEK else 31 if longest else 28)


def _shares(deal: Deal, earned: Earned, stretch: Stretch) -> Iterator[OwedLine]:
    off = {cost: getattr(earned, cost) for cost in deal.borne_by(Bearer.SHARED)}
    base, tiers = earned.take - sum(off.values()), deal.of_kind(TermKind.SHARE)
    if not tiers:
        return
    if base < 0:
        less = listing([COSTS[cost] for cost, cents in off.items() if cents]) or "what was taken back"
        words = f"Nothing to share: {less} come to {as_text(-base)} more than the take. That is not carried on"
        yield OwedLine(TermKind.SHARE, words, base, Fraction(0), 0)
        return
    of = "the take" + (f" after {listing([COSTS[cost] for cost in off])}" if off else "")
    for words, part, line in _tiers(deal, base, tiers, stretch):
        percent, rate = f"{line.rate_bp / 100:g} % of {words}{of}", _rate(line.rate_bp)
        yield OwedLine(TermKind.SHARE, percent, part, rate, half_up(part * rate))


_rate = lru_cache(maxsize=1000)(lambda rate_bp: Fraction(rate_bp, ALL_BP))


def _tiers(deal: Deal, base: int, tiers: Sequence[TermLine], stretch: Stretch) -> Iterator[tuple[str, int, TermLine]]:
    """What of the base each tier is about: words before “the take”, minor units and the tier."""
    floors = [_floor(line, stretch) for line in tiers]
    if deal.tiers_on == Tiers.WHOLE:
        reached = [(floor, line) for floor, line in zip(floors, tiers, strict=True) if not floor or base > floor]
        if reached:
            yield "all of " if len(tiers) > 1 else "", base, reached[-1][1]
        return
    for floor, ceiling, line in zip(floors, [*floors[1:], None], tiers, strict=True):
        part = (base if ceiling is None else min(base, ceiling)) - floor
        if part > 0 or not floor:
            yield f"what is above {as_text(floor)} of " if floor else "", max(0, part), line


def _floor(line: TermLine, stretch: Stretch) -> int:
    return half_up(line.above_cents * part_of(line.per, stretch)) if line.above_cents else 0


def _rents(deal: Deal, stretch: Stretch) -> Iterator[OwedLine]:
    for line in deal.of_kind(TermKind.RENT):
        part = part_of(line.per, stretch)
        yield OwedLine(TermKind.RENT, f"Rent of {_sum(line, stretch)}", line.cents, part, half_up(line.cents * part))


def _visits(deal: Deal, earned: Earned) -> Iterator[OwedLine]:
    for line in deal.of_kind(TermKind.VISIT):
        words = f"{as_text(line.cents)} for each of {earned.visits} visit{'' if earned.visits == 1 else 's'}"
        yield OwedLine(TermKind.VISIT, words, line.cents, Fraction(earned.visits), line.cents * earned.visits)


def _borne(deal: Deal, earned: Earned) -> Iterator[OwedLine]:
    for cost in deal.borne_by(Bearer.HOST):
        if cents := getattr(earned, cost):
            yield OwedLine(cost, f"{COSTS[cost].capitalize()}, which the host bears", cents, Fraction(-1), -cents)


def _limits(deal: Deal, owed: int, stretch: Stretch) -> list[OwedLine]:
    """What lifts the sum to the least that was agreed, or to nothing, and what cuts it to the most."""
    lines = []
    for kind, words in ((TermKind.MINIMUM, "Brought up to at least"), (TermKind.CAP, "Cut to at most")):
        for line in deal.of_kind(kind):
            part = part_of(line.per, stretch)
            limit = half_up(line.cents * part)
            if owed < limit if kind == TermKind.MINIMUM else owed > limit:
                lines.append(OwedLine(kind, f"{words} {_sum(line, stretch)}", line.cents, part, limit - owed))
                owed = limit
    if owed < 0:
        words = "What the host bears is more than its part. The rest is not carried on"
        lines.append(OwedLine(TermKind.MINIMUM, words, -owed, Fraction(1), -owed))
    return lines


def _sum(line: TermLine, stretch: Stretch) -> str:
    """“$25.00 a month”, and for how many days where it is not just one."""
    one = part_of(line.per, stretch) == 1
    days = "" if one else f" for {stretch.days} day{'' if stretch.days == 1 else 's'}"
    return f"{as_text(line.cents)} {Per(line.per).label}{days}"
