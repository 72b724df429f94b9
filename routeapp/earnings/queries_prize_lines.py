"""The lines of the pages about prizes: by prize, by cabinet, and stop by stop."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.earnings.queries_prizes import Looked, Prizes
from routeapp.earnings.rules_draw import Verdict
from routeapp.earnings.rules_prizes import Came, Pieces, Stop, added, came
from routeapp.kit import charts
from routeapp.stock.models import Place, PlaceKind, Prize, StockMove
from routeapp.stock.queries import pieces_at
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
    is_dead: bool  # there was some all the last weeks, and none was won


def prize_lines(found: Prizes) -> list[PrizeLine]:
    """Every prize in use, left somewhere, or in a cabinet in these days; those with most of the take first."""
    stock, dead = {line.prize.pk: line for line in overview().lines}, _dead(found.now)
    prizes = Prize.objects.in_bulk(stock.keys() | found.cabinets.keys())
    lines = [
        PrizeLine(
            prize=prize,
            came=added(found.came(machine, pk) for machine in found.cabinets.get(pk, ())),
            verdict=found.verdict(pk),
            pieces=stock[pk].pieces if pk in stock else 0,
            worth=stock[pk].worth_cents if pk in stock else 0,
            is_dead=pk in dead and pk in stock and stock[pk].pieces > 0,
        )
        for pk, prize in prizes.items()
    ]
    return sorted(lines, key=lambda line: (-line.came.take, line.prize.name))


def _dead(now: datetime) -> set[int]:
    """Prizes of which there was something when the last weeks began, and nothing was won in them."""
    since = now - timedelta(weeks=DEAD_WEEKS)
    players = list(Place.objects.filter(kind=PlaceKind.PLAYERS).values_list("pk", flat=True))
    prizes = [prize for prize, pieces in pieces_at(since).items() if pieces > 0]
    won = StockMove.objects.filter(to_place__in=players, prize__in=prizes, at__gte=since, at__lte=now).order_by()
    return set(prizes) - set(won.values_list("prize", flat=True).distinct())


@dataclass(frozen=True)
class CabinetLine:
    """What a prize came to in one cabinet, and plays a day with it inside and without it, where it stood last."""

    machine: Machine
    location: str
    came: Came
    with_it: float | None
    without: float | None


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
        with_it=_a_day(looks[True]),
        without=_a_day(looks[False]),
    )


def _a_day(looks: list[Looked]) -> float | None:
    return round(sum(one.plays for one in looks) / sum(one.look.days for one in looks), 1) if looks else None


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
        return _a_day([self.looked]) if self.looked else None


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


def with_and_without(lines: list[CabinetLine]) -> charts.Levels:
    """Plays a day with a prize inside beside those without it, where there are both."""
    both = [(one, one.with_it, one.without) for one in lines if one.with_it is not None and one.without is not None]
    return charts.levels(
        [
            charts.Aim(
                f"{one.machine.code} {one.location}", f"{with_it:,} with it, {without:,} without", with_it, without
            )
            for one, with_it, without in both[:MOST_PICTURED]
        ]
    )
