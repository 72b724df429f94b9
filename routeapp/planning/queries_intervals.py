"""What each placed cabinet did between two looks at it: plays, prizes won, and whether it could be played at all."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from django.db.models import Avg, Case, Q, Sum, When

from locations.placements.models import Placement
from machines.cabinets import queries_meters
from machines.cabinets.models import Counts
from machines.cabinets.queries import times_out_of_order
from machines.cabinets.queries_meters import MeterInterval
from machines.faults.models import About, Via
from machines.faults.queries import faults
from routeapp.cash.queries import take_by_entry
from routeapp.planning.queries_changes import changes
from routeapp.planning.rules_ahead import since_change
from routeapp.planning.rules_rate import PARTLY, Stretch
from routeapp.stock.models import Place, PlaceKind, Prize, StockCount, StockMove
from routeapp.visits.models import CashTaken, ServiceEntry

LOOK_BACK = timedelta(weeks=26)  # what is older says little of a rate that wanders
SECONDS_A_DAY = 86_400


@dataclass(frozen=True)
class Look:
    """One interval of a cabinet: `plays` None where nobody can tell, `down` days in which a fault stopped it; `empty`,
    or stopped by a fault that nobody told of, when somebody came: players would have played at least this often."""

    start: datetime
    end: datetime
    plays: int | None
    empty: bool = False
    down: float = 0.0

    @property
    def days(self) -> float:
        return max(0.0, (self.end - self.start).total_seconds() / SECONDS_A_DAY - self.down)

    @property
    def stretch(self) -> Stretch:
        return Stretch(self.days, self.plays, self.empty)


@dataclass
class History:
    """What is known of a cabinet in its place, oldest first; its last visit and when its box was last emptied."""

    placement: Placement
    looks: list[Look] = field(default_factory=list)
    won: int = 0  # prizes, in the time of the looks
    won_since: int = 0  # and after the last of them, at visits without a reading
    visited: datetime | None = None
    emptied: datetime | None = None
    repriced: list[datetime] = field(default_factory=list)  # when its price changed
    turned: datetime | None = None  # when grip or payout were last changed
    won_before: int = 0  # of the prizes, those won until then
    faults: int = 0
    stops: int = 0  # of the faults, those that had stopped it unseen until a visit
    served: float = 0.0  # days in which they could come
    stopped: datetime | None = None  # nobody can play since then
    stopped_why: str = ""

    def stop(self, at: datetime, why: str) -> None:
        if self.stopped is None or at < self.stopped:
            self.stopped, self.stopped_why = at, why

    @property
    def since(self) -> datetime:
        """From when on only the forecast tells: the last visit, or the day it came."""
        return max(self.visited or self.placement.started_at, self.read)

    @property
    def read(self) -> datetime:
        """When its plays were last told."""
        return self.looks[-1].end if self.looks else self.placement.started_at

    @property
    def plays_by_then(self) -> float:
        """Plays of the looks, and those at the same pace from the last reading to the last visit."""
        plays = sum(look.plays for look in self.looks if look.plays is not None)
        days = sum(look.days for look in self.looks if look.plays is not None)
        return plays * (1 + (self.since - self.read).total_seconds() / SECONDS_A_DAY / days) if days else 0.0

    @property
    def share_evidence(self) -> tuple[float, float]:
        """Prizes won and the plays they took, as far as they tell of the grip and payout that hold."""
        won, plays = self.won + self.won_since, self.plays_by_then
        if self.turned is None:
            return won, plays
        before = sum(look.plays or 0 for look in self.looks if look.end <= self.turned)
        return since_change(won, plays, self.won_before, before)

    def told_by_prizes(self, part: float) -> "Look | None":
        """What was played after the last reading, judged by the prizes that were won in `part` of the plays."""
        if self.won_since <= 0 or self.visited is None or self.visited <= self.read:
            return None
        return Look(self.read, self.visited, round(self.won_since / max(part, 1e-3)))


def histories(
    placements: Iterable[Placement], until: datetime, back: timedelta = LOOK_BACK, partly: float = PARTLY
) -> dict[int, History]:
    """What is known of the cabinets of these placements (with their machine and model) by machine id, from the last
    half year of each stay, in constant queries. Kinds that ran out took their players along for `partly` of the time:
    who asks whether they do takes 0."""
    since = until - back
    found = {
        each.machine_id: History(each, served=(until - max(each.started_at, since)) / timedelta(days=1))
        for each in placements
    }
    ids = list(found)
    _note_entries(found, since)
    told = _by_machine(queries_meters.intervals(ids, since, until))
    untold = [machine for machine in ids if not told.get(machine)]
    for machine, looks in (_looks(told) | (_by_take(untold, since, until) if untold else {})).items():
        start = found[machine].placement.started_at
        found[machine].looks = [look for look in looks if look.start >= start - timedelta(minutes=1)]
    _mark_empty(found, since, until, partly)
    _take_off_faults(found, since, until)
    _take_off_out_of_order(found, until)
    _note_changes(found, since, until)
    _count_won(found, since)
    return found


def _note_changes(found: dict[int, History], since: datetime, until: datetime) -> None:
    for machine, one in changes(list(found), since, until).items():
        found[machine].repriced, found[machine].turned = one.repriced, one.turned


def _note_entries(found: dict[int, History], since: datetime) -> None:
    entries = ServiceEntry.objects.filter(machine__in=list(found), at__gte=since, withdrawn_at=None)
    for machine, at, cash in entries.order_by("at").values_list("machine", "at", "cash"):
        found[machine].visited = at
        if cash != CashTaken.NOT_TAKEN:
            found[machine].emptied = at


def _by_machine(intervals: Iterable[MeterInterval]) -> dict[int, list[MeterInterval]]:
    found: dict[int, list[MeterInterval]] = defaultdict(list)
    for each in intervals:
        found[each.meter.machine_id].append(each)
    return found


def _looks(told: dict[int, list[MeterInterval]]) -> dict[int, list[Look]]:
    """Of each cabinet by the one sort of meter that tells plays best: two would tell the same plays twice."""
    found = {}
    for machine, each in told.items():
        sorts = {one.meter.counts for one in each}
        sort = Counts.PLAYS if Counts.PLAYS in sorts else Counts.MONEY_IN
        found[machine] = [
            Look(one.interval.start.at, one.interval.end.at, _plays(one)) for one in each if one.meter.counts == sort
        ]
    return found


def _plays(one: MeterInterval) -> int | None:
    if one.meter.counts == Counts.PLAYS or one.cents is None:
        return one.interval.counts
    return one.cents // one.meter.machine.price_cents


def _by_take(ids: list[int], since: datetime, until: datetime) -> dict[int, list[Look]]:
    """Of cabinets without a meter: from one emptied box to the next, at the price of a play."""
    rows = ServiceEntry.objects.filter(machine__in=ids, at__gte=since, at__lt=until, withdrawn_at=None)
    rows = rows.exclude(cash=CashTaken.NOT_TAKEN).order_by("machine", "at")
    entries = list(rows.values_list("machine", "pk", "at", "machine__price_cents"))
    takes = take_by_entry([pk for _, pk, _, _ in entries])
    found: dict[int, list[Look]] = defaultdict(list)
    last: dict[int, datetime] = {}
    for machine, pk, at, price in entries:
        if machine in last:
            cents = takes.get(pk)
            found[machine].append(Look(last[machine], at, None if cents is None else max(0, cents) // price))
        last[machine] = at
    return found


def _mark_empty(found: dict[int, History], since: datetime, until: datetime, partly: float) -> None:
    """Where all prizes that were counted were counted as none, or some of them."""
    counts = StockCount.objects.live().filter(place__machine__in=list(found), at__gte=since, at__lt=until)
    part = Avg(Case(When(quantity=0, then=1.0), default=0.0))
    missing = {
        (machine, at): out
        for machine, at, out in counts.order_by().values_list("place__machine", "at").annotate(out=part)
    }
    for machine, history in found.items():
        history.looks = [_without_kinds(look, missing.get((machine, look.end), 0.0), partly) for look in history.looks]


def _without_kinds(look: Look, missing: float, partly: float) -> Look:
    """Kinds that ran out took their players along for some of the time; how long all have been out, nobody can tell."""
    return replace(look, empty=True) if missing == 1 else replace(look, down=look.down + partly * missing * look.days)


def _take_off_faults(found: dict[int, History], since: datetime, until: datetime) -> None:
    """Days in which nobody could play are no days of an interval."""
    told = faults().filter(machine__in=list(found), at__gte=since, at__lt=until)
    for fault in told.filter(Q(about=About.FAULT) | Q(stops_play=True)):
        history, end = found[fault.machine_id], fault.fixed_at or until
        unseen = fault.stops_play and fault.via == Via.VISIT
        if fault.at >= history.placement.started_at and fault.about == About.FAULT:
            history.faults, history.stops = history.faults + 1, history.stops + unseen
        if unseen:
            history.looks = [replace(look, empty=True) if look.end == fault.at else look for look in history.looks]
        if not fault.stops_play:
            continue
        played = fault.via == Via.LABEL and any(look.plays for look in history.looks if look.start >= fault.at)
        if fault.fixed_at is None and not played:
            history.stop(fault.at, fault.stop_in_words)
        take_off = _reported if fault.via == Via.LABEL else _without
        history.looks = [take_off(look, fault.at, end) for look in history.looks]


def _take_off_out_of_order(found: dict[int, History], until: datetime) -> None:
    """As faults that stop play; but what was played all the time it was called so, was not."""
    for machine, spans in times_out_of_order(found, until).items():
        history = found[machine]
        for start, end in spans:
            inside = [look for look in history.looks if start <= look.start and look.end <= (end or until)]
            if end is None and not any(look.plays for look in inside):
                history.stop(start, "it is out of order")
            history.looks = [
                look if look.plays and look in inside else _without(look, start, end or until) for look in history.looks
            ]


def _without(look: Look, start: datetime, end: datetime) -> Look:
    down = (min(look.end, end) - max(look.start, start)).total_seconds() / SECONDS_A_DAY
    return replace(look, down=look.down + down) if down > 0 else look


def _reported(look: Look, start: datetime, end: datetime) -> Look:
    """Whether what a player reports is so, nobody knows. Players would have played at least as often as they did then;
    what was played between two looks after the report was played."""
    inside = start <= look.start and look.end <= end
    return replace(look, empty=True) if look.start < end and start < look.end and not (inside and look.plays) else look


def _count_won(found: dict[int, History], since: datetime) -> None:
    for machine, at, pieces in _won_since(list(found), since):
        history = found[machine]
        if at > history.read:
            history.won_since += pieces
        elif history.looks and at > history.looks[0].start:
            history.won += pieces
        else:
            continue
        if history.turned and at <= history.turned:
            history.won_before += pieces


def _won_since(ids: list[int], since: datetime) -> Iterable[tuple[int, datetime, int]]:
    """(machine id, when it was counted, prizes won)."""
    # Naming places and prizes lets the index (place, prize, at) find these months without reading all others.
    named = Place.objects.filter(Q(machine__in=ids) | Q(kind=PlaceKind.PLAYERS)).order_by()
    machine_of = dict(named.values_list("pk", "machine"))
    players = [pk for pk, machine in machine_of.items() if machine is None]
    places = [pk for pk, machine in machine_of.items() if machine is not None]
    prizes = list(Prize.objects.order_by().values_list("pk", flat=True))
    rows = StockMove.objects.filter(at__gte=since, prize__in=prizes).order_by()
    for sign, cabinet, outside in ((1, "from_place", "to_place"), (-1, "to_place", "from_place")):
        won = rows.filter(**{f"{cabinet}__in": places, f"{outside}__in": players})
        for place, at, pieces in won.values_list(cabinet, "at").annotate(pieces=Sum("quantity")):
            yield machine_of[place], at, sign * pieces
