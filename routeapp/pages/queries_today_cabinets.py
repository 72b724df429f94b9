"""What cabinets need now, as Today tells it: faults, prizes, and players who stay away."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from locations.placements.models import Placement
from machines.cabinets.queries import out_of_order
from machines.faults.models import About, Fault
from routeapp.earnings.queries import Book
from routeapp.earnings.rules_figures import Line
from routeapp.kit.money import as_text
from routeapp.planning.queries_forecast import Forecast

SILENT_AFTER = timedelta(days=28)  # common practice, no source
MOST_PRIZES = 5  # that are named
SILENT_FOR = timedelta(days=1)  # nobody playing for less says nothing; common practice, no source


@dataclass(frozen=True)
class Need:
    """One thing that needs somebody: what, why, since when, and the page (`to`, an address name) to deal with it."""

    what: str
    why: str
    since: datetime | None
    zone: str
    to: str
    argument: Any
    action: str
    bad: bool = False
    cabinet: str = ""  # its code: the page for those who may look, but not deal with it


def stopped(faults: list[Fault]) -> Iterator[Need]:
    """Cabinets that nobody can play by these faults, and those out of order of which none speaks."""
    told = set()
    for fault in faults:
        if fault.stops_play:
            told.add(fault.machine_id)
            yield _fault(fault)
    for machine in out_of_order():
        if machine.pk not in told:
            why = machine.said or "Nobody wrote down why."
            what = f"{machine.code} {machine.model.name}"
            yield Need(what, f"Out of order. {why}", machine.since, "", "cabinet", machine.code, "Look", bad=True)


def told(faults: list[Fault], waiting: dict[int, Fault]) -> Iterator[Need]:
    """The other faults, but not of players who wait for their money."""
    return (_fault(one) for one in faults if not one.stops_play and one.pk not in waiting)


def _fault(fault: Fault) -> Need:
    said = fault.text or fault.get_about_display()
    if fault.about == About.LOST_MONEY and fault.amount_cents:
        said = f"Lost {as_text(fault.amount_cents)}. {fault.text}"
    return Need(
        what=f"{fault.machine.code} {fault.machine.model.name}",
        why=f"{said} ({fault.get_via_display().lower()})",
        since=fault.at,
        zone="",
        to="fault-fix",
        argument=fault.pk,
        action="Mark as fixed",
        bad=fault.stops_play,
        cabinet=fault.machine.code,
    )


def waits(fault: Fault) -> Need:
    """A player whose money nobody decided about."""
    lost = f"Lost {as_text(fault.amount_cents)}. " if fault.amount_cents else ""
    why = f"{lost}{fault.text} ({fault.get_via_display().lower()})"
    return Need(
        f"{fault.machine.code} {fault.machine.model.name}", why, fault.at, "", "refund-report", fault.pk, "Decide"
    )


def low(seen: dict[int, Forecast], now: datetime) -> Iterator[Need]:
    found = [one for one in seen.values() if one.is_low(now) and not one.history.stopped]
    for forecast in sorted(found, key=lambda one: (one.left, one.empty_on or now.date())):
        yield _low_need(forecast)


def _low_need(forecast: Forecast) -> Need:
    placement, left = forecast.placement, forecast.left
    of_all = f" of {forecast.capacity}" if forecast.capacity else ""
    why = f"About {left}{of_all} prizes left" if left else "Probably empty by now"
    a_day = f", {forecast.held} at the last visit, about {forecast.prizes_a_day:.1f} won a day."
    why += a_day if forecast.held else "."
    if left and forecast.empty_on:
        why += f" Empty around {forecast.empty_on:%a} {forecast.empty_on.day} {forecast.empty_on:%b}."
    what, zone = f"{placement.machine.code} at {placement.location}", placement.location.time_zone
    return Need(what, why, forecast.since, zone, "visit-start", placement.location_id, "Start a visit", bad=not left)


def silent(placements: list[Placement], forecasts: dict[int, Forecast], recent: Book, now: datetime) -> Iterator[Need]:
    """Cabinets that stand somewhere and were not visited for long, or that nobody played between two visits."""
    visited = _visited(recent)
    for placement in placements:
        one, before = visited.get(placement.machine_id, (None, None))
        forecast = forecasts.get(placement.machine_id)
        seen = forecast.since if forecast else placement.started_at
        if seen and seen < now - SILENT_AFTER:
            why, since = f"No visit for {(now - seen).days} days.", seen
        elif (
            one
            and one.plays == 0
            and not one.left_out
            and one.at - max(placement.started_at, before or one.at - SILENT_FOR) >= SILENT_FOR
        ):
            why, since = "Nobody played it between the last two visits.", one.at
        else:
            continue
        what, zone = f"{placement.machine.code} at {placement.location}", placement.location.time_zone
        yield Need(what, why, since, zone, "visit-start", placement.location_id, "Start a visit")


def _visited(recent: Book) -> dict[int, tuple[Line, datetime | None]]:
    """By machine id, the newest visit at which meters were read, and when they were read before."""
    found: dict[int, tuple[Line, datetime | None]] = {}
    read: dict[int, datetime] = {}
    for line in recent.lines:
        if line.read:
            if line.visit:
                found[line.machine] = line, read.get(line.machine)
            read[line.machine] = line.at
    return found


def run_out(prizes: list[str]) -> Iterator[Need]:
    """The prizes whose next delivery would come too late."""
    if prizes:
        number = f"{len(prizes)} prizes run" if len(prizes) > 1 else "A prize runs"
        named, more = prizes[:MOST_PRIZES], len(prizes) - MOST_PRIZES
        why = "; ".join(named) + (f"; and {more} more." if more > 0 else ".")
        yield Need(f"{number} out before more can come", why, None, "", "reorder", None, "What to order", bad=True)
