"""One cabinet: what it is, how it is doing, what happened to it."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from locations.placements.models import Placement, WithdrawnPlacement
from locations.placements.queries import withdrawn_of
from machines.cabinets import queries as cabinets
from machines.cabinets.models import Machine, SettingsChange, StatusChange
from machines.cabinets.queries import CurrentSettings
from machines.faults.models import Fault
from machines.faults.queries import faults
from routeapp.earnings.queries_report import week_bars
from routeapp.earnings.queries_take import by_card_between, take_of_weeks
from routeapp.earnings.rules import Span
from routeapp.kit import charts, clock
from routeapp.kit.people import called
from routeapp.pages.rules import CashPattern, Era, Seen, cash_pattern, eras
from routeapp.planning.queries_fan import fan
from routeapp.planning.queries_forecast import Forecast
from routeapp.planning.queries_outlook import outlook
from routeapp.stock.queries import counted_in, inside
from routeapp.visits import queries as visits
from routeapp.visits.queries import EntryFigures
from routeapp.visits.queries_late import came_late

WEEKS = 12
HISTORY = 12


@dataclass(frozen=True)
class Takes:
    """Take by week, and of the last four weeks against the four before."""

    weeks: list[tuple[Span, int]]
    bars: charts.Bars
    last_span: Span
    last: int
    last_by_card: int
    before_span: Span
    before: int


def takes(now: datetime, zone: str, **only: int) -> Takes:
    """The last twelve weeks and the one that runs, of one cabinet or location."""
    today = clock.local_day(now, zone)
    first = clock.week_start(today) - timedelta(weeks=WEEKS)
    cents = take_of_weeks(first, WEEKS + 1, **only)
    last, before = cents[-5:-1], cents[-9:-5]  # the week that runs is left out
    return Takes(
        weeks=cents,
        bars=week_bars(cents, None, today),
        last_span=Span(last[0][0].since, last[-1][0].until),
        last=sum(amount for _, amount in last),
        last_by_card=by_card_between(last[0][0].since, last[-1][0].until, **only),
        before_span=Span(before[0][0].since, before[-1][0].until),
        before=sum(amount for _, amount in before),
    )


@dataclass(frozen=True)
class CabinetPage:
    machine: Machine
    placement: Placement | None
    placements: list[Placement]
    withdrawn: list[WithdrawnPlacement]
    settings: CurrentSettings
    settings_history: list[SettingsChange]
    status_history: list[StatusChange]
    open_faults: list[Fault]
    fixed_faults: list[Fault]
    prizes: list
    takes: Takes
    history: list[EntryFigures]
    eras: list[Era]  # what its settings did, the newest first
    late: set[UUID]  # those entries of it that came in after a later visit's
    forecast: Forecast | None
    fan: charts.Curve | None

    @property
    def zone(self) -> str:
        return self.placement.location.time_zone if self.placement else ""

    @property
    def cash(self) -> CashPattern:
        """Over and short at the visits shown, where the box was emptied and the meter told."""
        return cash_pattern([(one.variance, one.expected or 0) for one in self.history if one.variance is not None])

    @property
    def cash_taken_by(self) -> list[str]:
        """Who made the collections that were short or over."""
        off = [one.entry.visit.made_by for one in self.history if one.variance]
        return sorted({called(person) for person in off})

    @property
    def set_now(self) -> Era | None:
        """What was played and won as it is set now."""
        newest = self.eras[0] if self.eras and self.settings_history else None
        return newest if newest and newest.since == self.settings_history[0].at else None

    @property
    def set_before(self) -> Era | None:
        """The same of the settings before, where both gave a prize."""
        both = len(self.eras) > 1 and self.set_now and self.set_now.payout and self.eras[1].payout
        return self.eras[1] if both else None

    @property
    def set_differs(self) -> bool:
        return bool(self.set_now and self.set_before and self.set_now.differs_from(self.set_before))

    @property
    def steps(self) -> list[tuple[StatusChange, datetime | None]]:
        """Each step of its life with when the next one ended it."""
        ends = [None, *(one.at for one in self.status_history)]
        return list(zip(self.status_history, ends, strict=False))

    @property
    def tuned(self) -> list[tuple[SettingsChange, Era | None]]:
        """Each change of the settings with what came of it."""
        found = {era.since: era for era in self.eras}
        return [(one, found.get(one.at)) for one in self.settings_history]

    @property
    def payout(self) -> float | None:
        """Plays per prize, as it is set now or else over the visits shown."""
        if self.set_now and self.set_now.payout:
            return self.set_now.payout
        won = sum(one.prizes_won for one in self.history)
        plays = sum(one.plays or 0 for one in self.history)
        return plays / won if won > 0 and plays else None


def cabinet_page(machine: Machine, now: datetime, zone: str) -> CabinetPage:
    placements = list(machine.placements.select_related("location", "started_by").order_by("-started_at"))
    placement = next((one for one in placements if one.ended_at is None), None)
    if placement:
        placement.machine = machine
    seen = outlook(now, [machine.pk]) if placement else None
    history = visits.history(machine, now + timedelta(days=2), HISTORY)
    changes = list(cabinets.settings_history(machine)[:HISTORY])
    every_fault = list(faults(machine).order_by("-at", "-pk")[:50])
    return CabinetPage(
        machine=machine,
        placement=placement,
        placements=placements,
        withdrawn=list(withdrawn_of(machine)),
        settings=cabinets.current_settings(machine),
        settings_history=changes,
        status_history=list(cabinets.status_history(machine)[:HISTORY]),
        open_faults=[one for one in every_fault if one.fixed_at is None],
        fixed_faults=[one for one in every_fault if one.fixed_at][:HISTORY],
        prizes=inside([machine.pk]).get(machine.pk, []),
        takes=takes(now, placement.location.time_zone if placement else zone, machine=machine.pk),
        history=history,
        eras=eras(_seen(history), (one.at for one in changes)),
        late=came_late(history),
        forecast=seen.forecasts.get(machine.pk) if seen else None,
        fan=fan(seen, machine.pk, now) if seen else None,
    )


def _seen(history: list[EntryFigures]) -> list[Seen]:
    counted = counted_in([one.entry.pk for one in history])
    return [
        Seen(
            one.entry.at,
            one.plays,
            one.prizes_won,
            one.entry.pk in counted or one.meter_says is not None,
            bool(one.questions),
        )
        for one in reversed(history)
    ]
