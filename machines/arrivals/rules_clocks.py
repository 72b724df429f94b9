"""How long one may wait before telling a carrier or supplier of damage, by which rules, and what being late means.

The periods are rows with their source and the time they hold for. They are no advice: what holds for a delivery
stands in its transport document and is a question for a lawyer.
"""

from collections.abc import Container
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from routeapp.kit.choices import TextChoices


class Regime(TextChoices):
    COGSA = "cogsa", "By sea to or from the United States (COGSA)"
    HAGUE = "hague", "By sea elsewhere (Hague or Hague-Visby Rules)"
    CARMACK = "carmack", "By road within the United States (Carmack Amendment)"
    LTL = "ltl", "By road in the United States under the NMFC"
    AIR = "air", "By air between countries (Montreal Convention)"
    PROMISE = "promise", "What the supplier promised"


class Unit(StrEnum):
    DAYS = "days"
    BUSINESS_DAYS = "business days"
    MONTHS = "months"


@dataclass(frozen=True)
class Clock:
    """One period. `stopped_by` is the step of a claim that meets it; `starts` the step it runs from, or "delivery"."""

    regime: str
    what: str
    amount: int
    unit: Unit
    starts: str
    stopped_by: str
    late: str  # what missing it means
    source: str
    valid_from: date = date.min
    valid_to: date = date.max


_PRIMA_FACIE = (
    "Without written notice the delivery counts as proof of goods in the state the transport document describes, "
    "until you prove otherwise. The right to claim is not lost by that alone."
)
_BARRED = (
    "After that the carrier is discharged from all liability, unless a suit was brought or it agreed to more time."
)

_RULES = "Hague Rules 1924 and Hague-Visby Rules, Article III rule 6"
_CARMACK = "49 USC 14706(e)(1)"
CLOCKS = (
    *(
        clock
        for regime, source in ((Regime.COGSA, "COGSA sec. 3(6), note to 46 USC 30701"), (Regime.HAGUE, _RULES))
        for clock in (
            Clock(
                regime,
                "Notice in writing of damage not apparent",
                3,
                Unit.DAYS,
                "delivery",
                "notice",
                _PRIMA_FACIE,
                source,
            ),
            Clock(regime, "Suit", 12, Unit.MONTHS, "delivery", "suit", _BARRED, source),
        )
    ),
    Clock(
        Regime.AIR,
        "Complaint in writing of damage",
        14,
        Unit.DAYS,
        "delivery",
        "notice",
        "Without a complaint in time no action lies against the carrier, save for fraud.",
        "Montreal Convention 1999, Article 31, from memory",
    ),
    Clock(
        Regime.AIR,
        "Suit",
        24,
        Unit.MONTHS,
        "delivery",
        "suit",
        "After that the right to damages is extinguished.",
        "Montreal Convention 1999, Article 35, from memory",
    ),
    Clock(
        Regime.CARMACK,
        "Claim in writing with its amount (the shortest a carrier may set)",
        9,
        Unit.MONTHS,
        "delivery",
        "claim",
        "If the carrier's tariff or bill of lading sets this period, a later claim is barred.",
        _CARMACK,
    ),
    Clock(
        Regime.CARMACK,
        "Suit (the shortest a carrier may set)",
        24,
        Unit.MONTHS,
        "refused",
        "suit",
        "If the carrier's terms set this period, a suit later than that after its refusal is barred.",
        _CARMACK,
    ),
    Clock(
        Regime.LTL,
        "Report of concealed damage",
        5,
        Unit.BUSINESS_DAYS,
        "delivery",
        "notice",
        "Later it is for you to show that it did not happen after delivery. The claim itself is not lost by that.",
        "NMFC item 300135-A",
        valid_from=date(2015, 4, 18),
    ),
    Clock(
        Regime.LTL,
        "Claim in writing with its amount (the shortest a carrier may set)",
        9,
        Unit.MONTHS,
        "delivery",
        "claim",
        "If the carrier's tariff or bill of lading sets this period, a later claim is barred.",
        _CARMACK,
    ),
)


@dataclass(frozen=True)
class Deadline:
    """A period as it runs for one claim. `on` is None while it has not started; `met_on` the day it was met."""

    what: str
    on: date | None
    period: str
    late: str
    source: str
    met_on: date | None

    def is_missed(self, today: date) -> bool:
        return self.on is not None and (self.met_on or today) > self.on

    def runs(self) -> bool:
        return self.on is not None and self.met_on is None

    def days_left(self, today: date) -> int:
        return (self.on - today).days if self.on else 0


def clocks(regime: str, delivered_on: date, promise_days: int | None = None) -> list[Clock]:
    """The periods that hold for a delivery on a day. A supplier's promise runs by the days it names."""
    if regime == Regime.PROMISE:
        late = "What they promised need not hold any more. Ask all the same, and read the law of sales that applies."
        return [
            Clock(regime, "Tell the supplier", promise_days or 0, Unit.DAYS, "delivery", "notice", late, "Their terms")
        ]
    return [clock for clock in CLOCKS if clock.regime == regime and clock.valid_from <= delivered_on <= clock.valid_to]


def deadline(clock: Clock, happened: dict[str, date], holidays: Container[date] = ()) -> Deadline:
    """How a period runs when its steps `happened` on these days ("delivery" among them)."""
    start = happened.get(clock.starts)
    return Deadline(
        what=clock.what,
        on=last_day(start, clock.amount, clock.unit, holidays) if start else None,
        period=f"{clock.amount} {clock.unit.removesuffix('s') if clock.amount == 1 else clock.unit}",
        late=clock.late,
        source=clock.source,
        met_on=happened.get(clock.stopped_by),
    )


def last_day(start: date, amount: int, unit: Unit, holidays: Container[date] = ()) -> date:
    """The last day of a period that starts on the day after `start`.

    Months end on the day of the same number, or on the last of a shorter month. Business days are Monday to Friday
    but for `holidays`.
    """
    if unit is Unit.DAYS:
        return start + timedelta(days=amount)
    if unit is Unit.MONTHS:
        return _months_after(start, amount)
    day = start
    while amount:
        day += timedelta(days=1)
        amount -= day.weekday() < 5 and day not in holidays
    return day


def _months_after(start: date, months: int) -> date:
    year, month = divmod(start.year * 12 + start.month - 1 + months, 12)
    last = date(year + (month == 11), (month + 1) % 12 + 1, 1) - timedelta(days=1)
    return last.replace(day=min(start.day, last.day))
