"""How good the forecasts of one cabinet were: each interval beside what was foretold of it the day before it began."""

from dataclasses import dataclass
from datetime import datetime
from statistics import median

from routeapp.planning.queries_forecast import Outlook
from routeapp.planning.queries_learned import known
from routeapp.planning.rules_rate import SHORTEST, filtered, side_by_side
from routeapp.planning.rules_score import outcomes

SMALL = 10  # plays an interval; a range of fewer holds more than its chance, as counts are whole
SKIPPED = 2  # the first forecasts of a cabinet only say what its kind does


@dataclass(frozen=True)
class Past:
    """One interval: what was foretold (an 80 % range) and the plays that came; `cut` by running empty
    or by a fault."""

    start: datetime
    end: datetime
    low: int
    middle: int
    high: int
    came: int
    cut: bool

    @property
    def inside(self) -> bool:
        return self.low <= self.came <= self.high

    @property
    def verdict(self) -> str:
        if self.inside:
            return "inside"
        if self.cut:
            return "cut short" if self.came < self.low else "more"
        return "more" if self.came > self.high else "fewer"


@dataclass(frozen=True)
class Quality:
    """All past forecasts of one cabinet that there are, the newest first."""

    past: list[Past]
    bias: float | None  # too much expected, as a part of what came; None where it was cut short too often to tell

    @property
    def inside(self) -> int:
        return sum(one.inside for one in self.past)


def quality(seen: Outlook, machine: int) -> Quality:
    """How good past forecasts of a placed cabinet were, each made of what was known before it."""
    row = seen.row.get(machine)
    if row is None:
        return Quality([], None)
    history = seen.histories[row]
    kind, looks = history.placement.machine.model.kind, history.looks
    stretches = seen.learned.stretches(known(history))
    intervals = side_by_side([stretches])
    told = filtered(intervals, seen.learned.prior(kind), keep=True)
    parts = seen.learned.range_of(kind)
    lasted = zip(looks, stretches, strict=True)
    kept = [look for look, one in lasted if look.plays is not None and one.days >= SHORTEST]
    past = []
    steps = [step for step in range(intervals.days.shape[1]) if intervals.told[0, step]]
    for step, look in list(zip(steps[::-1], kept[::-1], strict=False))[: max(0, len(kept) - SKIPPED)]:
        foretold = told.foretold[step]
        low, middle, high = (int(foretold.quantile(part)[0]) for part in (parts[0], 0.5, parts[1]))
        past.append(Past(look.start, look.end, low, middle, high, look.plays or 0, look.empty))
    found = outcomes(intervals, told, SKIPPED)
    seldom = len(found) > 0 and found.cut.mean() < 0.1
    return Quality(past, found.bias if seldom else None)


def in_words(quality: Quality) -> str:
    """One sentence on how good past forecasts were."""
    if not quality.past:
        return "There is no past forecast to judge by yet."
    text = f"{quality.inside} of the last {len(quality.past)} intervals came out inside their range; 8 of 10 should"
    text += ", more of counts as small as these." if median(one.middle for one in quality.past) < SMALL else "."
    if quality.bias is None or abs(quality.bias) < 0.03:
        return text
    return f"{text} On the whole {abs(quality.bias):.0%} too {'much' if quality.bias > 0 else 'little'} was expected."
