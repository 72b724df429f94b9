"""One visit as its page tells it: every fact it brought, also when a correction has withdrawn them since."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from uuid import UUID

from machines.cabinets.models import Reading, SettingsChange
from machines.faults.models import Fault, FaultFix
from routeapp.stock import queries as stock
from routeapp.stock.models import PlaceKind, StockCount, StockMove
from routeapp.visits import queries, queries_late
from routeapp.visits.models import Photo, ServiceEntry, Visit
from routeapp.visits.queries import EntryFigures


@dataclass
class Told:
    """One service entry with its facts; `figures` only while no correction stands against it."""

    entry: ServiceEntry
    figures: EntryFigures | None
    readings: list[Reading] = field(default_factory=list)
    found: list[StockCount] = field(default_factory=list)
    moved: list[StockMove] = field(default_factory=list)
    settings: list[SettingsChange] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    fixes: list[FaultFix] = field(default_factory=list)
    photos: list[Photo] = field(default_factory=list)
    lost: int = 0  # prizes that a count found missing and the meter does not call won; found too many below zero
    changed: EntryFigures | None = None  # the next visit, when it was here before this one came in
    stray: str = ""  # where the books say that the cabinet stood, when that was not here

    @property
    def loaded(self) -> list[StockMove]:
        return [move for move in self.moved if move.to_place.machine_id == self.entry.machine_id]

    @property
    def found_too_many(self) -> int:
        return -self.lost

    @property
    def removed(self) -> list[StockMove]:
        return [move for move in self.moved if move.from_place.machine_id == self.entry.machine_id]


def tell(visit: Visit) -> list[Told]:
    """The entries of a visit in constant queries, by cabinet code."""
    entries = list(visit.entries.select_related("machine__model", "bag").order_by("machine__code"))
    until = visit.at + timedelta(microseconds=1)
    shown = queries.figures([entry.machine_id for entry in entries], visit.at, until) if not visit.withdrawn_at else []
    figures = {one.entry.pk: one for one in shown}
    told = {entry.pk: Told(entry, figures.get(entry.pk)) for entry in entries}
    plain = StockMove.objects.entered().filter(reverses=None).select_related("from_place", "to_place", "prize")
    for name, rows in {
        "readings": Reading.objects.select_related("meter"),
        "found": StockCount.objects.select_related("prize"),
        "moved": plain,
        "settings": SettingsChange.objects.all(),
        "faults": Fault.objects.all(),
        "fixes": FaultFix.objects.select_related("fault"),
    }.items():
        for source, facts in _by_source(rows.filter(source__in=told)).items():
            setattr(told[source], name, facts)
    for (source,), lost in stock.won(StockMove.objects.filter(source__in=told), "source", to=PlaceKind.SHRINKAGE):
        told[source].lost = lost.pieces
    by_machine = {one.entry.machine_id: one for one in told.values()}
    for photo in Photo.objects.filter(entry__visit__in=_versions(visit)).select_related("entry"):
        if photo.entry.machine_id in by_machine:
            by_machine[photo.entry.machine_id].photos.append(photo)
    for machine, figures_after in queries_late.changed_by(visit, by_machine).items():
        by_machine[machine].changed = figures_after
    for machine, where in queries_late.strays(by_machine, visit.location_id, visit.at).items():
        by_machine[machine].stray = where
    return list(told.values())


def _versions(visit: Visit) -> list[UUID]:
    """The visit and those it corrects: a photo is sent once, with the version that was there first."""
    found, replaced = [visit.pk], visit.replaces
    while replaced:
        found.append(replaced)
        replaced = Visit.objects.filter(pk=replaced).values_list("replaces", flat=True).first()
    return found


def _by_source(rows: Any) -> dict[Any, list]:
    found: dict[Any, list] = defaultdict(list)
    for row in rows:
        found[row.source].append(row)
    return found


def sums(told: list[Told]) -> dict[str, int | None]:
    """Take and variance of the whole stop, in minor units; None while any of them is not known."""
    shown = [one.figures for one in told if one.figures]
    takes = [one.take for one in shown]
    variances = [one.variance for one in shown if one.entry.cash != "not_taken"]
    return {
        "take": None if None in takes else sum(take or 0 for take in takes),
        "variance": None if None in variances or not variances else sum(each or 0 for each in variances),
    }
