"""The lines of the pages about prizes: by prize, by cabinet, and stop by stop."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from typing import NamedTuple

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.earnings.queries_prizes import Looked, Prizes
from routeapp.earnings.rules_draw import Verdict
from routeapp.earnings.rules_prizes import Came, Pieces, Stop, added, came
from routeapp.kit import charts
from routeapp.kit.money import half_up
from routeapp.stock.models import Place, PlaceKind, Prize, StockMove
from routeapp.stock.queries import pieces_at, won
from routeapp.stock.queries_overview import overview

DEAD_WEEKS = 8  # without a piece won: common practice, no source
MOST_PICTURED = 12  # the table has them all


@dataclass(frozen=True)
class PrizeLine:
    """One prize: what it came to in these days, whether it draws players, and what is left of it now (minor units)."""

    prize: Prize
    came: Came
    verdict: Verdict
    pieces: int
    worth: int
    is_dead: bool  # there was some all the last weeks, and none came or was won


def prize_lines(found: Prizes) -> list[PrizeLine]:
    """Every prize in use, left somewhere, or in a cabinet in these days; those that stand out first, then by take."""
    stock, dead = {line.prize.pk: line for line in overview().lines}, _dead(found.now)
    prizes = Prize.objects.in_bulk(stock.keys() | found.cabinets.keys())
    lines = [
        PrizeLine(
            prize=prize,
            came=added(found.came(machine, pk) for machine in found.cabinets.get(pk, ())),
            verdict=found.verdicts.get(pk, Verdict(0)),
            pieces=stock[pk].pieces if pk in stock else 0,
            worth=stock[pk].worth_cents if pk in stock else 0,
            is_dead=pk in dead and pk in stock and stock[pk].pieces > 0,
        )
        for pk, prize in prizes.items()
    ]
    return sorted(lines, key=lambda line: (not line.verdict.stands_out, -line.came.take, line.prize.name))


def _dead(now: datetime) -> set[int]:
    """Prizes of which there was something when the last weeks began, and none came or was won in them."""
    since = now - timedelta(weeks=DEAD_WEEKS)
    suppliers = list(Place.objects.filter(kind=PlaceKind.SUPPLIER).values_list("pk", flat=True))
    prizes = [prize for prize, pieces in pieces_at(since).items() if pieces > 0]
    moves = StockMove.objects.filter(prize__in=prizes, at__gte=since, at__lte=now).order_by()
    came = set(moves.standing().filter(from_place__in=suppliers).values_list("prize", flat=True).distinct())
    return set(prizes) - came - {prize for (prize,), one in won(moves, "prize") if one.pieces > 0}


@dataclass(frozen=True)
class ADay:
    """Plays a day, and what a day left of the take after all prizes won, None where nothing was counted."""

    plays: float
    left: int | None


def a_day(looks: Iterable[Looked]) -> ADay | None:
    looks = list(looks)
    if not looks:
        return None
    counted = [(one.left, one.look.days) for one in looks if one.left is not None]
    left = half_up(sum(cents for cents, _ in counted) / Fraction(sum(days for _, days in counted))) if counted else None
    return ADay(round(sum(one.plays for one in looks) / sum(one.look.days for one in looks), 1), left)


@dataclass(frozen=True)
class CabinetLine:
    """What a prize came to in one cabinet, and a day of it with the prize inside and without, where it stood last."""

    machine: Machine
    location: str
    came: Came
    with_it: ADay | None
    without: ADay | None


def cabinet_lines(found: Prizes, prize: int) -> list[CabinetLine]:
    """The cabinets that had a prize in these days, by code."""
    lines = (_cabinet_line(found, machine, prize) for machine in found.cabinets.get(prize, ()))
    return sorted(lines, key=lambda line: line.machine.code)


def _cabinet_line(found: Prizes, machine: int, prize: int) -> CabinetLine:
    looks: dict[bool | None, list[Looked]] = defaultdict(list)
    for one in found.looks.get(machine, ()):
        looks[found.was_inside(one, prize)].append(one)
    stays = found.book.stays.get(machine)
    return CabinetLine(
        machine=found.book.machines[machine],
        location=found.book.locations[stays[-1].location].name if stays else "",
        came=found.came(machine, prize),
        with_it=a_day(looks[True]),
        without=a_day(looks[False]),
    )


def with_and_without(lines: Iterable[CabinetLine]) -> list[tuple[CabinetLine, ADay, ADay]]:
    """The cabinets that had a prize for some of the time, with a day of each sort."""
    return [(one, one.with_it, one.without) for one in lines if one.with_it and one.without]


def pictured(both: Iterable[tuple[CabinetLine, ADay, ADay]]) -> charts.Levels:
    """Plays a day with a prize inside beside those without it."""
    return charts.levels(
        [
            charts.Aim(one.machine.code, f"{day.plays:,} with it, {other.plays:,} without", day.plays, other.plays)
            for one, day, other in list(both)[:MOST_PICTURED]
        ]
    )


class LeftADay(NamedTuple):
    """What a day leaves with a prize inside and without it, the mean of the cabinets that tell of both."""

    with_it: int
    without: int
    cabinets: int


def left_a_day(both: Iterable[tuple[CabinetLine, ADay, ADay]]) -> LeftADay | None:
    known = [(day.left, other.left) for _, day, other in both if day.left is not None and other.left is not None]
    if not known:
        return None
    with_it, without = (half_up(Fraction(sum(each), len(known))) for each in zip(*known, strict=True))
    return LeftADay(with_it, without, len(known))


@dataclass(frozen=True)
class PrizeStop:
    """What one stop told: of a prize what was won and its part of the take, and of the days since the last look, if it
    ended one, how often the cabinet was played with the prize inside or without."""

    machine: Machine
    location: Location
    stop: Stop
    came: Came
    looked: Looked | None
    inside: bool | None

    @property
    def state(self) -> str:
        return "" if not self.looked else {True: "inside", False: "not inside", None: "for a part"}[self.inside]

    @property
    def days(self) -> float | None:
        return round(self.looked.look.days, 1) if self.looked else None

    @property
    def plays_a_day(self) -> float | None:
        one = a_day([self.looked] if self.looked else [])
        return one.plays if one else None


def prize_stops(found: Prizes, prize: int, machine: int | None) -> list[PrizeStop]:
    """Every stop, newest first, at the cabinets that had a prize in these days, or at one of them."""
    machines = [one for one in found.cabinets.get(prize, ()) if machine in (None, one)]
    stops = (stop for one in machines for stop in _stops(found, one, prize))
    return sorted(stops, key=lambda one: (one.stop.at, one.machine.code), reverse=True)


def _stops(found: Prizes, machine: int, prize: int) -> Iterator[PrizeStop]:
    looks = {one.look.end: one for one in found.looks.get(machine, ())}
    told: list[tuple[Stop, Pieces]] = list(found.stops.get(machine, ()))
    told += [(Stop(looks[at].location, at), {}) for at in looks.keys() - {stop.at for stop, _ in told}]
    for stop, shares in told:
        looked = looks.get(stop.at)
        yield PrizeStop(
            machine=found.book.machines[machine],
            location=found.book.locations[stop.location],
            stop=stop,
            came=came(stop, shares, prize),
            looked=looked,
            inside=found.was_inside(looked, prize) if looked else None,
        )
