"""What makes a visit due at each location, in words and in money.

For a planner: `losses` gives cents by location and whole days from now (0, 1, 2 …), cumulative, first as things stand
and then counted from a visit that fills and empties everything; rules_value makes the worth of a visit of them.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import chain

import numpy as np
from django.db.models import Max, QuerySet

from locations.agreements.models import Payment
from locations.agreements.queries import deals_for
from locations.agreements.rules_periods import Period
from locations.agreements.rules_terms import Deal
from locations.placements.models import Placement
from locations.sites.models import Location
from machines.cabinets.queries import out_of_order
from machines.faults.queries import open_faults
from routeapp.kit import clock
from routeapp.kit.money import as_text
from routeapp.planning import rules_value
from routeapp.planning.models_due import Errand, Promise, ToDo
from routeapp.planning.models_rounds import Pin, Wish
from routeapp.planning.queries_forecast import AHEAD, WEEK, Forecast, Outlook
from routeapp.planning.queries_outlook import outlook
from routeapp.planning.rules_rate import Array
from routeapp.settlements.queries import owed_cents
from routeapp.settlements.queries_drafts import periods_over
from routeapp.visits.models import Visit

THEFTS_A_DAY = 0.01 / 365  # that a box is broken open: one cabinet in a hundred a year; common practice, no source
MUCH_CASH = 15_000  # cents in the boxes of one location that are worth a word; common practice, no source
RENEWED_WITHIN = timedelta(days=30)  # before it runs out a permit is worth a word; common practice, no source
FILLED = 0.9  # of what fits in, after a visit; common practice, no source


@dataclass(frozen=True)
class Reason:
    """Why a visit is due. `cents` a day of waiting, over the coming week; `by` the last good day, None without one.
    `words` go on the road with a round and tell no money; `money` says it to the office."""

    words: str
    cents: int = 0
    by: date | None = None
    bad: bool = False
    money: str = ""

    @property
    def in_full(self) -> str:
        return f"{self.words} {self.money}".strip()


@dataclass(frozen=True)
class Due:
    """A location where something waits. `cents` a day of waiting, over the coming week."""

    location: Location
    visited: datetime | None
    today: date
    reasons: list[Reason] = field(default_factory=list)

    @property
    def cents(self) -> int:
        return sum(reason.cents for reason in self.reasons)

    @property
    def by(self) -> date | None:
        return min((reason.by for reason in self.reasons if reason.by), default=None)

    @property
    def is_late(self) -> bool:
        return self.by is not None and self.by < self.today

    @property
    def bad(self) -> bool:
        return self.is_late or any(reason.bad for reason in self.reasons)

    @property
    def state(self) -> str:
        return "late" if self.is_late else "now" if self.bad else "soon"

    @property
    def why(self) -> str:
        return " ".join(reason.words for reason in self.reasons)

    @property
    def why_in_full(self) -> str:
        return " ".join(reason.in_full for reason in self.reasons)


@dataclass(frozen=True)
class Losses:
    """Cents (L, days + 1) by location of `ids`: lost from now on if nobody comes, and after a visit made today."""

    ids: list[int]
    now: Array
    fresh: Array


def losses(seen: Outlook, days: int = AHEAD) -> Losses:
    """Margin lost while cabinets are empty or broken, and cash at risk in their boxes, by location and day."""
    days = min(days, AHEAD)
    places = [history.placement.location_id for history in seen.histories]
    ids = sorted(set(places))
    rows = np.array([ids.index(place) for place in places], int)
    boxes = np.array([seen.forecasts[one.placement.machine_id].box_cents for one in seen.histories], float)
    now = seen.lost_cents[:, : days + 1] + _at_risk(seen, boxes, days)
    fresh = _lost_after_a_visit(seen)[:, : days + 1] + _at_risk(seen, np.zeros(len(places)), days)
    totals = np.zeros((2, len(ids), days + 1))
    for total, each in zip(totals, (now, fresh), strict=True):
        np.add.at(total, rows, each)
    return Losses(ids, totals[0], totals[1])


def _at_risk(seen: Outlook, boxes: Array, days: int) -> Array:
    prices = np.array([one.placement.machine.price_cents for one in seen.histories], float)
    return rules_value.cash_at_risk(boxes, seen.rates.mean * prices * seen.box_share, THEFTS_A_DAY, days)


def _lost_after_a_visit(seen: Outlook) -> Array:
    room = np.array([one.placement.machine.model.prize_capacity or 0 for one in seen.histories]) * FILLED
    return seen.lost_since(np.maximum(room, seen.held), seen.days - seen.days[:, :1])


def due(now: datetime, seen: Outlook | None = None) -> list[Due]:
    """Every location where something waits, the dearest first, in constant queries. `seen` is the outlook, where it is
    at hand already."""
    seen = seen or outlook(now)
    at: dict[int, list[Forecast]] = defaultdict(list)
    for forecast in seen.forecasts.values():
        at[forecast.placement.location_id].append(forecast)
    found = _open_ones(Location.objects.filter(closed_on=None), now)
    for pk, reason in _reasons(seen, at, found):
        if pk in found:
            found[pk].reasons.append(reason)
    waiting = [one for one in found.values() if one.reasons]
    return sorted(waiting, key=lambda one: (not one.is_late, not one.bad, -one.cents, one.by or date.max))


def last_days(location_ids: Iterable[int], now: datetime) -> dict[int, date]:
    """By when somebody is to be there, by location id, where people said so; nothing is forecast."""
    found = _open_ones(Location.objects.filter(pk__in=list(location_ids), closed_on=None), now)
    for pk, reason in chain(_of_promises(found), _of_pins(found), _of_to_dos(found)):
        found[pk].reasons.append(reason)
    return {pk: one.by for pk, one in found.items() if one.by}


def _open_ones(wanted: QuerySet[Location], now: datetime) -> dict[int, Due]:
    """By id, with the last visit and without reasons yet."""
    locations = wanted.select_related("host").in_bulk()
    last = dict(
        Visit.objects.filter(location__in=locations, withdrawn_at=None, void=False)
        .order_by()
        .values_list("location")
        .annotate(last=Max("at"))
    )
    return {pk: Due(one, last.get(pk), clock.local_day(now, one.time_zone)) for pk, one in locations.items()}


def _reasons(seen: Outlook, at: dict[int, list[Forecast]], found: dict[int, Due]) -> Iterator[tuple[int, Reason]]:
    yield from _of_faults(seen)
    for pk, forecasts in at.items():
        for forecast in forecasts:
            if reason := _of_prizes(seen, forecast):
                yield pk, reason
        if reason := _of_cash(forecasts):
            yield pk, reason
    yield from _of_promises(found)
    yield from _of_pins(found)
    yield from _of_hosts(found, seen.now)
    yield from _of_to_dos(found)


def _lost_a_day(seen: Outlook, forecast: Forecast) -> int:
    row = seen.row[forecast.placement.machine_id]
    return round(float(seen.lost_in_a_week[row]) / WEEK)


def _of_prizes(seen: Outlook, forecast: Forecast) -> Reason | None:
    cents, code = _lost_a_day(seen, forecast), forecast.placement.machine.code
    if forecast.left is None or forecast.history.stopped or not (forecast.is_low(seen.now) or cents >= 10):
        return None
    if forecast.empty_chance > 0.5 or not forecast.left:
        return Reason(f"{code} is probably empty.", cents, bad=True)
    on = forecast.empty_on
    when = f", empty around {on:%a} {on.day} {on:%b}" if on else ""
    return Reason(f"{code} has about {forecast.left} prizes left{when}.", cents)


def _of_cash(forecasts: list[Forecast]) -> Reason | None:
    cents = sum(one.box_cents for one in forecasts)
    if cents < MUCH_CASH:
        return None
    return Reason("Much cash lies in its boxes.", round(cents * THEFTS_A_DAY), money=f"About {as_text(cents)}.")


def _of_faults(seen: Outlook) -> Iterator[tuple[int, Reason]]:
    """Open faults of placed cabinets, and those out of order; what stops play loses all that is played otherwise."""
    told: set[int] = set()
    for fault in open_faults().filter(machine__in=list(seen.forecasts)):
        forecast = seen.forecasts[fault.machine_id]
        stops = fault.stops_play and fault.machine_id not in told
        told |= {fault.machine_id} if stops else set()
        said = (fault.text or fault.get_about_display()).rstrip(".")
        stop = f"{fault.stop_in_words}, " if fault.stops_play else ""
        words = f"{fault.machine.code}: {stop}{said}."
        yield (
            forecast.placement.location_id,
            Reason(words, _lost_a_day(seen, forecast) if stops else 0, bad=fault.stops_play),
        )
    for machine in out_of_order().filter(pk__in=list(seen.forecasts)).exclude(pk__in=told):
        forecast, why = seen.forecasts[machine.pk], f": {machine.said.rstrip('.')}" if machine.said else ""
        words = f"{machine.code} is out of order{why}."
        yield forecast.placement.location_id, Reason(words, _lost_a_day(seen, forecast), bad=True)


def _of_promises(found: dict[int, Due]) -> Iterator[tuple[int, Reason]]:
    for one in Promise.objects.live().filter(location__in=list(found)):
        row = found[one.location_id]
        since = clock.local_day(row.visited or one.at, row.location.time_zone)
        by = since + timedelta(days=one.every_days)
        if by <= row.today + timedelta(days=WEEK):
            note = f" ({one.note})" if one.note else ""
            yield one.location_id, Reason(f"Promised at least every {one.every_days} days{note}.", by=by)


def _of_pins(found: dict[int, Due]) -> Iterator[tuple[int, Reason]]:
    for one in Pin.objects.live().filter(location__in=list(found), wish=Wish.MUST):
        row = found[one.location_id]
        if row.visited is None or row.visited < one.at:
            yield one.location_id, Reason(f"Wanted by somebody{f': {one.reason}' if one.reason else ''}.", by=one.day)


def _of_hosts(found: dict[int, Due], now: datetime) -> Iterator[tuple[int, Reason]]:
    """Hosts who are paid in cash, on the spot: days that are over and to be settled, and what they are owed."""
    deals = deals_for(found)
    holding = {pk: _holding(deals.get(pk, ()), row.today) for pk, row in found.items()}
    cash = {pk: deal for pk, deal in holding.items() if deal and deal.paid == Payment.CASH}
    owed = owed_cents(cash)
    for pk, until in periods_over(now, [pk for pk, deal in cash.items() if deal.settled.kind != Period.VISIT]).items():
        yield pk, Reason(f"The host is to be settled with in cash, up to {until:%-d %B}.")
    for pk, deal in cash.items():
        if owed[pk] > 0:
            at_each = " at each visit" if deal.settled.kind == Period.VISIT else ""
            yield pk, Reason(f"The host is owed money, paid in cash{at_each}.", money=f"{as_text(owed[pk])} by now.")


def _holding(deals: Iterable[Deal], today: date) -> Deal | None:
    return next((deal for deal in deals if deal.machine is None and deal.holds_on(today)), None)


def _of_to_dos(found: dict[int, Due]) -> Iterator[tuple[int, Reason]]:
    for one in open_to_dos(found):
        today = found[one.location_id].today
        if one.errand != Errand.PERMIT or _is_near(one, today):
            words = _runs_out(one, today) if one.errand == Errand.PERMIT else f"{one}."
            yield one.location_id, Reason(words, by=one.by_day, bad=one.by_day is not None and one.by_day < today)


def _is_near(permit: ToDo, today: date) -> bool:
    return permit.by_day is not None and permit.by_day <= today + RENEWED_WITHIN


def _runs_out(permit: ToDo, today: date) -> str:
    of = f" of {permit.machine}" if permit.machine else ""
    ends = "ran out" if permit.by_day and permit.by_day < today else "runs out"
    return f"{permit.text}{of} {ends} on {permit.by_day:%-d %B %Y}."


def permits_near(today: date) -> list[tuple[ToDo, str]]:
    """Permits and stickers that run out soon or did where it is not closed for good, with words, the first to run out
    first."""
    rows = ToDo.objects.live().filter(errand=Errand.PERMIT, done_at=None, by_day__lte=today + RENEWED_WITHIN)
    rows = rows.filter(location__closed_on=None).select_related("machine", "location")
    return [(one, _runs_out(one, today)) for one in rows]


def open_to_dos(location_ids: Iterable[int]) -> list[ToDo]:
    """What is still to bring or do: a cabinet that stands there meanwhile is installed, one that left is pulled."""
    rows = list(
        ToDo.objects.live().filter(location__in=list(location_ids), done_at=None).select_related("machine", "by")
    )
    stands = set(
        Placement.objects.filter(machine__in=[one.machine_id for one in rows if one.machine_id], ended_at=None)
        .order_by()
        .values_list("machine", "location")
    )
    return [one for one in rows if not _is_done(one, (one.machine_id, one.location_id) in stands)]


def _is_done(one: ToDo, stands_there: bool) -> bool:
    return stands_there if one.errand == Errand.INSTALL else not stands_there and one.errand == Errand.PULL
