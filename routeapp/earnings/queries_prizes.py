"""Some days as prizes see them: what lay in which cabinet, what was won and taken, and how often it was played."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from itertools import groupby

from django.db.models import Q

from locations.placements.models import Placement
from routeapp.earnings import queries
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_draw import FEW_PLACES, Cell, Drawn, Verdict, drawn, places_with_both, verdicts
from routeapp.earnings.rules_figures import Line, grouped
from routeapp.earnings.rules_prizes import Came, Pieces, Stop, added, came, costs_as_booked, shared_out
from routeapp.kit import clock
from routeapp.planning.queries_intervals import Look, histories
from routeapp.stock.models import StockCount
from routeapp.stock.queries import Won, moved, won
from routeapp.stock.queries_lain import lain
from routeapp.stock.rules_lain import Lain
from routeapp.visits.models import CashTaken, ServiceEntry

SHORTEST = 0.5  # days: what was played in less says little of a day


@dataclass(frozen=True)
class Looked:
    """One look at a cabinet where it stood, that tells how often it was played; the month is that of its middle. `left`
    is what of its take was left after all prizes won, None while some of it is not counted, or where a visit at one of
    its ends left the cash in the box."""

    machine: int
    location: int
    look: Look
    month: tuple[int, int]
    left: int | None

    @property
    def plays(self) -> int:
        return self.look.plays or 0

    def cell(self, inside: bool) -> Cell:
        return Cell(self.location, self.machine, self.month, inside, self.plays, self.look.days)


@dataclass(frozen=True)
class Prizes:
    """Each part is read or worked out when it is asked for, in constant queries. `zone` is that of the business."""

    span: Span
    zone: str
    now: datetime

    @cached_property
    def book(self) -> queries.Book:
        return queries.book(self.span)

    def _edges(self, zone: str) -> tuple[datetime, datetime]:
        """The first moment of these days, and the first after them or now."""
        after = clock.start_of_day(self.span.until + timedelta(days=1), zone)
        return clock.start_of_day(self.span.since, zone), min(self.now, after)

    @cached_property
    def lain(self) -> dict[int, dict[int, Lain]]:
        """By machine id and prize id."""
        return lain(self.book.machines, *clock.anywhere(self.span.since, self.span.until))

    @cached_property
    def stops(self) -> dict[int, list[tuple[Stop, Pieces]]]:
        """By machine id, oldest first, each with what of its take goes to each prize."""
        told: dict[tuple[int, datetime], dict[int, Won]] = defaultdict(dict)
        moves = moved(*clock.anywhere(self.span.since, self.span.until)).filter(cabinet__in=list(self.book.machines))
        for (machine, at, prize), one in won(moves, "cabinet", "at", "prize"):
            told[machine, at][prize] = one
        found = {}
        for machine, lines in grouped(self.book.lines, "machine").items():
            by_time = groupby(lines, key=lambda line: line.at)
            stops = [self._stop(list(each), told[machine, at]) for at, each in by_time]
            found[machine] = list(zip(stops, shared_out(stops), strict=True))
        return found

    def _stop(self, lines: list[Line], told: dict[int, Won]) -> Stop:
        first = next((line for line in lines if line.visit), lines[0])
        there = self.lain.get(first.machine, {})
        return Stop(
            location=first.location,
            at=first.at,
            visit=first.visit,
            take=sum(line.take for line in lines),
            uncounted=any(line.uncounted for line in lines),
            left_in_box=(first.machine, first.at) not in self._emptied,
            won={prize: one.pieces for prize, one in told.items()},
            cost=costs_as_booked(
                sum(line.prize_cost for line in lines), {prize: one.cost for prize, one in told.items()}
            ),
            inside={prize: one.before(first.at) for prize, one in there.items()},
        )

    @property
    def not_shared(self) -> int:
        """The take of cabinets in which no prize is known."""
        return sum(stop.take for each in self.stops.values() for stop, shares in each if not shares)

    @cached_property
    def cabinets(self) -> dict[int, set[int]]:
        """By prize id, the machine ids of those in which it lay, was won or got a share of the take."""
        found: dict[int, set[int]] = defaultdict(set)
        for machine, each in self.lain.items():
            for prize in each:
                found[prize].add(machine)
        for machine, stops in self.stops.items():
            for stop, shares in stops:
                for prize in (*stop.won, *shares):
                    found[prize].add(machine)
        return found

    def came(self, machine: int, prize: int) -> Came:
        """What a prize came to in one cabinet."""
        each = [came(stop, shares, prize) for stop, shares in self.stops.get(machine, ())]
        return added([*each, Came(days=round(self._days_inside(machine, prize)))])

    def _days_inside(self, machine: int, prize: int) -> float:
        """Days in which a prize lay in a cabinet that stood somewhere."""
        there, days = self.lain.get(machine, {}).get(prize), 0.0
        if there is None:
            return days
        for stay in self.book.stays.get(machine, ()):
            start, end = self._edges(self.book.locations[stay.location].time_zone)
            days += there.days_inside(max(stay.started_at, start), min(stay.ended_at or end, end))
        return days

    @cached_property
    def looks(self) -> dict[int, list[Looked]]:
        """By machine id, where it stood last in these days. Of one found empty, nobody knows since when it was."""
        start, end = self._edges(self.zone)
        stays = Placement.objects.filter(Q(ended_at=None) | Q(ended_at__gt=start), started_at__lt=end)
        last = {one.machine_id: one for one in stays.select_related("machine").order_by("started_at")}
        told = histories(last.values(), end, end - start, partly=0.0)
        return {
            machine: [
                self._looked(last[machine], look)
                for look in one.looks
                if start <= look.start and look.end <= (last[machine].ended_at or end) and _tells(look)
            ]
            for machine, one in told.items()
        }

    def _looked(self, stay: Placement, look: Look) -> Looked:
        middle = clock.local_day(look.start + (look.end - look.start) / 2, self.zone)
        told = [stop for stop, _ in self.stops.get(stay.machine_id, ()) if look.start < stop.at <= look.end]
        whole = {(stay.machine_id, at) for at in (look.start, look.end)} <= self._emptied
        left = sum(stop.take - sum(stop.cost.values()) for stop in told)
        known = left if whole and not any(stop.uncounted for stop in told) else None
        return Looked(stay.machine_id, stay.location_id, look, (middle.year, middle.month), known)

    @cached_property
    def _emptied(self) -> set[tuple[int, datetime]]:
        """Machine id and moment of each visit that took the cash."""
        since, until = clock.anywhere(self.span.since, self.span.until)
        entries = ServiceEntry.objects.filter(machine__in=list(self.book.machines), at__gte=since, at__lt=until)
        taken = entries.filter(withdrawn_at=None).exclude(cash=CashTaken.NOT_TAKEN).order_by()
        return set(taken.values_list("machine", "at"))

    @cached_property
    def _found_none(self) -> set[tuple[int, int, datetime]]:
        """Machine id, prize id and moment of each count that found none of a prize."""
        since, until = clock.anywhere(self.span.since, self.span.until)
        counts = StockCount.objects.live().filter(place__machine__in=list(self.book.machines), quantity=0)
        rows = counts.filter(at__gte=since, at__lt=until).order_by()
        return set(rows.values_list("place__machine", "prize", "at"))

    def was_inside(self, one: Looked, prize: int) -> bool | None:
        """Whether a prize lay in the cabinet all the time of a look; None: for a part of it, as where it ran out."""
        there, end = self.lain.get(one.machine, {}).get(prize), one.look.end
        if there is None:
            return False
        ran_out = there.before(end) > 0 and (one.machine, prize, end) in self._found_none
        return None if ran_out else there.was_inside(one.look.start, end)

    def _drawn(self, prize: int) -> Drawn:
        had = {machine for machine, each in self.lain.items() if prize in each}
        cells = [cell for machine in sorted(had) for cell in self._cells(machine, prize)]
        places = places_with_both(cells)
        if places < FEW_PLACES:  # as nearly all are: what all others did need not be asked
            return Drawn(places)
        others = (one.cell(inside=False) for machine in self.looks if machine not in had for one in self.looks[machine])
        return drawn([*cells, *others])

    def _cells(self, machine: int, prize: int) -> Iterator[Cell]:
        for one in self.looks.get(machine, ()):
            inside = self.was_inside(one, prize)
            if inside is not None:
                yield one.cell(inside)

    @cached_property
    def verdicts(self) -> dict[int, Verdict]:
        """By prize id, of each that lay in a cabinet."""
        return verdicts({prize: self._drawn(prize) for prize in {one for each in self.lain.values() for one in each}})


def _tells(look: Look) -> bool:
    return look.plays is not None and not look.empty and look.days >= SHORTEST
