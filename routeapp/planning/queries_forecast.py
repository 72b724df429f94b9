"""What each placed cabinet is believed to hold by now, when it runs empty, and what is lost while nobody comes."""

from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from operator import attrgetter
from typing import Any

import numpy as np

from locations.placements.models import Placement
from routeapp.kit import clock
from routeapp.planning import rules_ahead
from routeapp.planning.queries_intervals import History, histories
from routeapp.planning.queries_learned import days_of, known
from routeapp.planning.queries_margins import box_shares, margins_of
from routeapp.planning.rules_ahead import LONGEST, Rates, Shares
from routeapp.planning.rules_learn import Learned
from routeapp.planning.rules_rate import Array
from routeapp.stock import queries as stock

AHEAD = 60  # days that are looked ahead
WEEK = 7
LOW_PART = 0.15  # of what fits in; common practice, no source
LOW_WITHIN = timedelta(days=2)
SECONDS_A_DAY = 86_400
ARRAYS = ("held", "tracked", "days", "box_share", "faults", "stops")  # of an outlook, by row


@dataclass(frozen=True)
class Forecast:
    """One cabinet at the moment of asking. Ranges hold in 80 of 100 cases. `left` None: nobody writes down its prizes.
    Days are the location's; `empty_on` None: not within a year."""

    history: History
    usual_plays: float  # a day, if it can be played
    plays_a_day: float
    plays_low: float
    plays_high: float
    prizes_a_day: float
    held: int  # at the last look
    left: int | None
    left_low: int
    left_high: int
    empty_on: date | None
    empty_from: date | None
    empty_until: date | None
    empty_chance: float  # that it is empty now
    box_cents: int  # expected in the cash box
    faults_a_month: float

    @property
    def placement(self) -> Placement:
        return self.history.placement

    @property
    def capacity(self) -> int | None:
        return self.placement.machine.model.prize_capacity

    @property
    def since(self) -> datetime:
        """Of the last visit, or of the day it came."""
        return self.history.visited or self.placement.started_at

    def is_low(self, now: datetime) -> bool:
        """Whether it is nearly empty, or will be before somebody can be there."""
        if self.left is None:
            return False
        soon = clock.local_day(now, self.placement.location.time_zone) + LOW_WITHIN
        return self.left <= (self.capacity or 0) * LOW_PART or (self.empty_on is not None and self.empty_on <= soon)

    @property
    def is_guess(self) -> bool:
        """Nobody has seen it yet: all is what cabinets of its kind do."""
        return not any(look.plays is not None for look in self.history.looks)


@dataclass(frozen=True)
class Outlook:
    """Some placed cabinets at once. Rows of the arrays are those of `histories`; `days` (M, AHEAD + 1) are usual days
    from each cabinet's last look until now and each day after; `now` is the latest of the moments `at` which they were
    worked out."""

    now: datetime
    learned: Learned
    histories: tuple[History, ...]
    at: tuple[datetime, ...]
    rates: Rates
    share: Shares
    held: Array
    tracked: Array
    days: Array
    box_share: Array
    faults: Array  # a day
    stops: Array  # a day, of which nobody tells
    forecasts: dict[int, Forecast] = field(default_factory=dict)  # by machine id

    @cached_property
    def row(self) -> dict[int, int]:
        return {history.placement.machine_id: row for row, history in enumerate(self.histories)}

    @cached_property
    def margins(self) -> Array:
        """Cents that a play leaves."""
        return margins_of(self.histories, self.share, self.now)

    @cached_property
    def prizes(self) -> Rates:
        return self.rates.shared(self.share.part, self.share.variance)

    @cached_property
    def lost_cents(self) -> Array:
        """Margin (M, AHEAD + 1) that each cabinet loses from now until the start of each day ahead."""
        return self.lost_by(range(self.days.shape[1]))

    @cached_property
    def lost_in_a_week(self) -> Array:
        return self.lost_by([WEEK])[:, 0]

    def lost_by(self, ahead: Sequence[int]) -> Array:
        """Cents of margin that each cabinet loses from now until the start of some days ahead (M, so many): while it
        is empty, while it stands still and nobody tells, or all of it while a fault is known to stop it."""
        until = self.lost_since(self.held, self.days[:, [0, *ahead]])
        lost = until[:, 1:] - until[:, :1]
        for row, history in enumerate(self.histories):
            if history.stopped:
                lost[row] = self.rates.mean[row] * max(0.0, self.margins[row]) * np.array(ahead)
        return lost

    def lost_since(self, held: Array, days: Array) -> Array:
        """Cents of margin lost so many usual `days` (M, D) after a visit that left `held` prizes and all in order."""
        lost = self.rates.mean[:, None] * rules_ahead.days_stopped(days, self.stops)
        rows = np.flatnonzero(self.tracked & (self.margins > 0))
        if len(rows):
            prizes, part = self.prizes.rows(rows), self.share.part[rows]
            lost[rows] += rules_ahead.plays_lost(prizes, part, held[rows], days[rows])
        return np.minimum(lost, self.rates.mean[:, None] * days) * np.maximum(0, self.margins)[:, None]

    def of(self, rows: Sequence[int]) -> "Outlook":
        """Some of the rows, in this order."""
        histories = tuple(self.histories[row] for row in rows)
        arrays: dict[str, Any] = {name: getattr(self, name)[rows] for name in ARRAYS}
        return replace(
            self,
            histories=histories,
            at=tuple(self.at[row] for row in rows),
            rates=self.rates.rows(rows),
            share=Shares(self.share.part[rows], self.share.variance[rows]),
            forecasts={pk: self.forecasts[pk] for pk in (one.placement.machine_id for one in histories)},
            **arrays,
        )

    def without(self, machines: Container[int]) -> "Outlook":
        return self.of([row for pk, row in self.row.items() if pk not in machines])


def together(some: Outlook, others: Outlook) -> Outlook:
    """Of both; `others` are the newer ones."""
    if not some.histories or not others.histories:
        return others if others.histories else some

    def joined(part: Callable[[Outlook], Array]) -> Array:
        return np.concatenate([part(some), part(others)])

    arrays: dict[str, Any] = {name: joined(attrgetter(name)) for name in ARRAYS}
    return replace(
        others,
        histories=some.histories + others.histories,
        at=some.at + others.at,
        rates=Rates(
            joined(lambda one: one.rates.rates),
            joined(lambda one: one.rates.weights),
            joined(lambda one: one.rates.sizes),
        ),
        share=Shares(joined(lambda one: one.share.part), joined(lambda one: one.share.variance)),
        forecasts=some.forecasts | others.forecasts,
        **arrays,
    )


def outlook_of(placements: Iterable[Placement], taught: Learned, now: datetime) -> Outlook:
    """Worked out anew, in constant queries. What is said of a cabinet does not depend on which others are asked for."""
    found = tuple(histories(placements, now).values())
    share = _shares(found, taught)
    for one, part in zip(found, share.part, strict=True):
        if (look := one.told_by_prizes(float(part))) is not None:
            one.looks.append(look)
    days = np.array([_usual_days(one, taught, now) for one in found]).reshape(len(found), AHEAD + 1)
    ids, served = [one.placement.machine_id for one in found], [one.served for one in found]
    held = stock.fills(ids)
    made = Outlook(
        now=now,
        learned=taught,
        histories=found,
        at=(now,) * len(found),
        rates=rules_ahead.rates_of(taught.beliefs([known(one) for one in found]), days[:, 0]),
        share=share,
        held=np.array([max(0, held.get(pk, 0)) for pk in ids], float),
        tracked=np.array([one.placement.machine_id in held or _holds_prizes(one) for one in found], bool),
        days=days,
        box_share=box_shares(ids, now),
        faults=rules_ahead.fault_rate([one.faults for one in found], served, taught.faults),
        stops=rules_ahead.fault_rate([one.stops for one in found], served, taught.stops),
    )
    return replace(made, forecasts=_forecasts(made))


def _holds_prizes(history: History) -> bool:
    """Whether prizes fit in, so that one without any is empty; unless it was played: then nobody writes them down."""
    return bool(history.placement.machine.model.prize_capacity) and not any(look.plays for look in history.looks)


def _usual_days(history: History, taught: Learned, now: datetime) -> Array:
    """Usual days from the last look until now and each day ahead; none while a fault stops the cabinet."""
    ends = days_of(now) + np.arange(AHEAD + 1)
    if history.stopped:
        ends = np.minimum(ends, max(days_of(history.stopped), days_of(history.since)))
    return taught.days(history.placement.location_id, np.full(len(ends), days_of(history.since)), ends)


def _shares(found: Sequence[History], taught: Learned) -> Shares:
    won, plays = zip(*(one.share_evidence for one in found), strict=True) if found else ((), ())
    usual = np.array([taught.won_of(one.placement.machine.model.kind) for one in found]).reshape(len(found), 2)
    return rules_ahead.shares(won, plays, (usual[:, 0], usual[:, 1]))


def _forecasts(outlook: Outlook) -> dict[int, Forecast]:
    days = outlook.days[:, 0]
    left, low, high, empty = _left(outlook)
    chance = outlook.prizes.counts(np.maximum(days, 1e-9)).at_least(np.maximum(outlook.held, 0))
    week = outlook.rates.counts(np.maximum(outlook.days[:, 7] - days, 1e-9))
    plays = np.array([week.mean, week.quantile(0.1), week.quantile(0.9)]) / 7
    found = {}
    for row, one in enumerate(outlook.histories):
        tracked = bool(outlook.tracked[row])
        on, early, late = (_day(outlook, row, part[row]) if tracked else None for part in empty)
        found[one.placement.machine_id] = Forecast(
            history=one,
            usual_plays=float(outlook.rates.mean[row]),
            plays_a_day=float(plays[0, row]),
            plays_low=float(plays[1, row]),
            plays_high=float(plays[2, row]),
            prizes_a_day=float(plays[0, row] * outlook.share.part[row]),
            held=int(outlook.held[row]),
            left=round(float(left[row])) if tracked else None,
            left_low=int(low[row]),
            left_high=int(high[row]),
            empty_on=on,
            empty_from=early,
            empty_until=late,
            empty_chance=float(chance[row]) if tracked else 0.0,
            box_cents=_box(outlook, row),
            faults_a_month=float(outlook.faults[row]) * 30,
        )
    return found


def _left(outlook: Outlook) -> tuple[Array, Array, Array, Array]:
    """Pieces left now: middle, low and high; and usual days until empty: middle, early and late (3, M). Cabinets of a
    kind share the chances that make an 80 % range."""
    kinds = [one.placement.machine.model.kind for one in outlook.histories]
    middle, low, high = (np.zeros(len(kinds)) for _ in range(3))
    empty = np.zeros((3, len(kinds)))
    for kind in set(kinds):
        rows = [row for row, one in enumerate(kinds) if one == kind]
        lower, upper = outlook.learned.range_of(kind)
        prizes, held = outlook.prizes.rows(rows), outlook.held[rows]
        low[rows], middle[rows], high[rows] = rules_ahead.left(
            prizes, held, np.maximum(outlook.days[rows, 0], 1e-9), (lower, 0.5, upper)
        )
        empty[:, rows] = rules_ahead.days_until_empty(prizes, held, (0.5, lower, upper))
    return middle, low, high, empty


def _day(outlook: Outlook, row: int, usual_days: float) -> date | None:
    """The location's calendar day on which so many usual days have gone by since the last look."""
    history = outlook.histories[row]
    if usual_days >= LONGEST or (history.stopped and usual_days > outlook.days[row, 0]):
        return None
    ahead = outlook.days[row]
    if usual_days <= ahead[0]:
        gone = (outlook.at[row] - history.since).total_seconds() / SECONDS_A_DAY
        moment = history.since + timedelta(days=gone * usual_days / ahead[0] if ahead[0] > 0 else 0.0)
    else:
        within = float(np.interp(usual_days, ahead, np.arange(len(ahead))))
        beyond = max(0.0, usual_days - float(ahead[-1]))
        moment = outlook.at[row] + timedelta(days=within + beyond)
    return clock.local_day(moment, history.placement.location.time_zone)


def _box(outlook: Outlook, row: int) -> int:
    """Cents that should be in the box: what was read since it was emptied, and what was played since."""
    history = outlook.histories[row]
    since = history.emptied or history.placement.started_at
    read = sum(look.plays or 0 for look in history.looks if look.start >= since)
    held = outlook.held[row] / max(outlook.share.part[row], 1e-6) if outlook.tracked[row] else np.inf
    played = min(float(outlook.rates.mean[row] * outlook.days[row, 0]), held)
    return round((read + played) * history.placement.machine.price_cents * outlook.box_share[row])
