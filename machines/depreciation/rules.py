"""How the cost of a cabinet is spread over its years. Whole minor units; kept to the end, it comes to the cost exactly.

Which class, method and allowance fit a cabinet is for an accountant: nothing here chooses.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from machines.depreciation.rules_tables import ALL_BP, Table, Timing, table_for
from routeapp.kit.choices import TextChoices
from routeapp.kit.money import half_up

QUARTER_LIMIT_BP = 4_000  # more than 40 % in the last quarter: 26 USC 168(d)(3)


class Method(TextChoices):
    STRAIGHT = "straight", "In equal parts over the years it serves (straight line)"
    TABLE = "table", "By the published percentages of its class"


class Convention(TextChoices):
    TEST = "test", "As the 40 % test says, of the cabinets written down here"
    HALF_YEAR = "half_year", "Half-year"
    MID_QUARTER = "mid_quarter", "Mid-quarter"


@dataclass(frozen=True)
class Choice:
    """What was decided about one cabinet. `cost` is its landed cost, `sold_on` the day it was sold or scrapped."""

    cost: int
    in_service: date
    sold_on: date | None = None
    method: str = Method.STRAIGHT
    life_years: int = 5
    worth_after: int = 0
    class_years: int | None = None
    convention: str = Convention.TEST
    section_179: int = 0
    bonus_bp: int = 0

    @property
    def words(self) -> str:
        return "by the published percentages" if self.method == Method.TABLE else "in equal parts"

    @property
    def gone_at_once(self) -> bool:
        """Sold in the year it was put in service: the tables give nothing (26 CFR 1.168(d)-1(b)(3), from memory)."""
        return self.sold_on is not None and self.sold_on.year <= self.in_service.year

    @property
    def basis(self) -> int:
        """What the 40 % test looks at: the cost less section 179, the bonus not taken off (Pub. 946, from memory)."""
        return self.cost - min(self.cost, self.section_179)


@dataclass(frozen=True)
class Year:
    """What one calendar year takes of the cost, over the days from `first` to `last`; `special` of it is section 179
    and bonus. `rate_bp` is the printed percentage, where there is one."""

    first: date
    last: date
    cents: int
    rate_bp: int | None = None
    special: int = 0

    @property
    def year(self) -> int:
        return self.first.year

    def up_to(self, day: date) -> int:
        """The part of it until the end of a day, spread evenly over the days."""
        if day < self.first:
            return 0
        if day >= self.last:
            return self.cents
        return half_up(Fraction(self.cents * ((day - self.first).days + 1), (self.last - self.first).days + 1))


def between(years: Iterable[Year], since: date, until: date) -> int:
    """What the days from `since` to `until` take. Neighbouring spans add up: each is a difference of sums."""
    return sum(one.up_to(until) - one.up_to(since - timedelta(days=1)) for one in years)


def straight_line(choice: Choice) -> list[Year]:
    """Cost less what it is worth afterwards, in equal parts for each day of its life."""
    whole, end = max(0, choice.cost - choice.worth_after), _years_after(choice.in_service, choice.life_years)
    last, found, before = end - timedelta(days=1), [], 0
    if choice.sold_on:
        last = max(choice.in_service, min(last, choice.sold_on))
    for year in range(choice.in_service.year, last.year + 1):
        first, to = max(choice.in_service, date(year, 1, 1)), min(last, date(year, 12, 31))
        so_far = half_up(Fraction(whole * ((to - choice.in_service).days + 1), (end - choice.in_service).days))
        found.append(Year(first, to, so_far - before))
        before = so_far
    return found


def _years_after(day: date, years: int) -> date:
    """The same day `years` later; the 29th of February becomes the 1st of March."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def by_table(choice: Choice, table: Table, unit: int) -> list[Year]:
    """Section 179 and bonus in the first year, and the table's percentages of the rest, each in whole `unit`s
    (minor units in a whole one of the currency) but for the last year, which takes what is left.
    """
    if choice.gone_at_once:
        return []
    section = choice.cost - choice.basis
    bonus = min(choice.basis, _whole(Fraction(choice.basis * choice.bonus_bp, ALL_BP), unit))
    if choice.bonus_bp == ALL_BP:
        bonus = choice.basis
    parts = plugged(choice.basis - bonus, table.rates, unit)
    years: list[Year] = []
    for number, (cents, rate) in enumerate(zip(parts, table.rates, strict=True)):
        year = choice.in_service.year + number
        first, last = max(choice.in_service, date(year, 1, 1)), date(year, 12, 31)
        special = 0 if number else section + bonus
        if choice.sold_on and choice.sold_on <= last:
            held = _held(choice.sold_on, table, number)
            return [*years, Year(first, choice.sold_on, _whole(cents * held, unit) if held < 1 else cents, rate)]
        years.append(Year(first, last, cents + special, rate, special))
    return years


def plugged(basis: int, rates: Sequence[int], unit: int) -> list[int]:
    """The basis by percentages in whole units. The last year takes the rest, so that nothing is lost or gained.

    Rounding each year by itself would make 2,499 of 2,500 and 4,001 of 3,999.99 by the half-year table of 7 years.
    """
    parts, left = [], basis
    for rate in rates[:-1]:
        parts.append(min(left, _whole(Fraction(basis * rate, ALL_BP), unit)))
        left -= parts[-1]
    return [*parts, left]


def _whole(cents: Fraction, unit: int) -> int:
    return half_up(cents / unit) * unit


def _into_year(timing: Timing) -> Fraction:
    """How far into a year the middle of that half-year or quarter is."""
    return Fraction(1, 2) if timing is Timing.HALF_YEAR else Fraction(2 * int(timing[-1]) - 1, 8)


def _held(sold_on: date, table: Table, number: int) -> Fraction:
    """The part that the year of a sale takes of its full amount: until the middle of the year or of the quarter.

    In the last year of the table the time ends at the middle of the year or quarter anyway.
    Pub. 946, "Sale or other disposition before the recovery period ends": ½, or 12.5, 37.5, 62.5, 87.5 %; from memory.
    """
    sold = _into_year(Timing.HALF_YEAR if table.timing is Timing.HALF_YEAR else quarter_of(sold_on))
    is_last = number == len(table.rates) - 1
    return min(Fraction(1), sold / _into_year(table.timing)) if is_last else sold


def quarter_of(day: date) -> Timing:
    return Timing(f"quarter_{(day.month + 2) // 3}")


@dataclass(frozen=True)
class QuarterTest:
    """The 40 % test of one year: what was put in service in its last quarter, of what in all of it."""

    year: int
    last_quarter: int
    whole_year: int

    @property
    def is_mid_quarter(self) -> bool:
        return self.last_quarter * ALL_BP > self.whole_year * QUARTER_LIMIT_BP

    @property
    def percent(self) -> float:
        return 100 * self.last_quarter / self.whole_year if self.whole_year else 0.0


def quarter_tests(choices: Iterable[Choice]) -> dict[int, QuarterTest]:
    """The test by year. What was sold in the same year does not count, nor what is in no class."""
    sums: dict[int, list[int]] = {}
    for one in choices:
        if one.class_years and not one.gone_at_once:
            year = sums.setdefault(one.in_service.year, [0, 0])
            year[0] += one.basis if one.in_service.month >= 10 else 0
            year[1] += one.basis
    return {year: QuarterTest(year, *both) for year, both in sorted(sums.items())}


@dataclass(frozen=True)
class Spread:
    """The years of one cabinet both ways; `table` is the column used, None where no class was chosen."""

    choice: Choice
    straight: list[Year]
    table: Table | None
    tabled: list[Year]

    @property
    def running(self) -> list[Year]:
        """What the years take in the figures of the business."""
        return self.tabled if self.choice.method == Method.TABLE else self.straight

    @property
    def written_off(self) -> list[Year]:
        """What was left of the cost on the day it went: from then on nothing is there that could be worth it."""
        day, left = self.choice.sold_on, self.choice.cost - self.taken(self.running)
        return [Year(day, day, left)] if day and left else []

    @property
    def chosen(self) -> list[Year]:
        """Both: a cabinet that went has cost what it cost, and what it was sold for is earned."""
        return [*self.running, *self.written_off]

    def taken(self, years: Iterable[Year]) -> int:
        return sum(one.cents for one in years)


def spreads(choices: Mapping[int, Choice], unit: int) -> dict[int, Spread]:
    """The years of each cabinet by its id; the 40 % test looks at all of them together."""
    tests = quarter_tests(choices.values())
    return {key: _spread(one, tests.get(one.in_service.year), unit) for key, one in choices.items()}


def _spread(choice: Choice, test: QuarterTest | None, unit: int) -> Spread:
    by_quarter = choice.convention == Convention.MID_QUARTER
    by_quarter |= choice.convention == Convention.TEST and test is not None and test.is_mid_quarter
    timing = quarter_of(choice.in_service) if by_quarter else Timing.HALF_YEAR
    table = table_for(choice.class_years, timing, choice.in_service) if choice.class_years else None
    return Spread(choice, straight_line(choice), table, by_table(choice, table, unit) if table else [])
