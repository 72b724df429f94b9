"""One run through a file, dry or real: who brings it, what was found so far, what it made."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Model

from locations.sites.models import Location
from machines.cabinets.models import CabinetModel, Machine
from routeapp.data.imports.models import Brought, Noun, SheetImport
from routeapp.data.imports.rules_lines import Line, Problem
from routeapp.data.imports.rules_plan import Plan
from routeapp.kit.errors import Refused


@dataclass(frozen=True)
class Stay:
    """A cabinet stood at a location from one day on, until another. No start means from now on."""

    machine: Machine
    location: Location
    start: date | None
    end: date | None
    line: Line


@dataclass
class Run:
    by: Any
    at: datetime
    zone: str
    plan: Plan = Plan()
    sheet_import: SheetImport | None = None
    made: Counter[str] = field(default_factory=Counter)
    filled: Counter[str] = field(default_factory=Counter)
    same: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))  # keys of what was there, by noun
    problems: list[Problem] = field(default_factory=list)
    remarks: list[Problem] = field(default_factory=list)
    brought: list[Brought] = field(default_factory=list)
    locations: dict[str, Location] = field(default_factory=dict)  # what earlier rows named is not looked up again
    makes: dict[str, CabinetModel] = field(default_factory=dict)
    machines: dict[str, Machine] = field(default_factory=dict)
    known: set[tuple] = field(default_factory=set)
    refused: dict[tuple, str] = field(default_factory=dict)
    stays: list[Stay] = field(default_factory=list)
    first_day: date | None = None
    first_days: dict[str, date] = field(default_factory=dict)  # by cabinet's code

    def __post_init__(self) -> None:
        retired = Brought.objects.filter(retired_at__isnull=False).order_by().values_list("noun", "key")
        self.retired = set(retired)
        self._own: set[tuple[str, str]] = set()

    @property
    def facts(self) -> dict[str, Any]:
        return {"by": self.by, "at": self.at}

    def remember(self, noun: Noun, key: Any) -> None:
        """This run made it."""
        self.made[noun.label] += 1
        self._own.add((noun, str(key)))
        self.brought.append(Brought(sheet_import=self.sheet_import, noun=noun, key=str(key)))

    def remember_filled(self, noun: Noun, thing: Model, columns: dict[str, Any]) -> None:
        """This run wrote into empty columns of something that was there."""
        self.filled[noun.label] += 1
        self.brought.append(Brought(sheet_import=self.sheet_import, noun=noun, key=str(thing.pk), filled=columns))

    def meet(self, noun: Noun, key: Any) -> None:
        """It is in the books already, and not by this run."""
        if (noun, str(key)) not in self._own:
            self.same[noun.label].add(str(key))

    def was_retired(self, noun: Noun, thing: Model) -> bool:
        """Whether it may be out of use only because an import was taken back."""
        return (str(noun), str(thing.pk)) in self.retired

    @contextmanager
    def row(self, line: Line) -> Iterator[None]:
        """What one row brings, in a savepoint: what an action refuses becomes a problem of this row."""
        made, filled, count = self.made.copy(), self.filled.copy(), len(self.brought)
        try:
            with transaction.atomic():
                yield
        except Refused as refusal:
            self.problems.append(line.problem(refusal.message))
            self._forget(made, filled, count)

    def _forget(self, made: Counter[str], filled: Counter[str], count: int) -> None:
        """Nothing of a refused row is there any more, so nothing of it may be remembered."""
        self.made, self.filled = made, filled
        gone = {(one.noun, one.key) for one in self.brought[count:]}
        self._own -= gone
        del self.brought[count:]
        kept = ((Noun.LOCATION, self.locations), (Noun.MODEL, self.makes), (Noun.CABINET, self.machines))
        for noun, things in kept:
            for name in [name for name, thing in things.items() if (noun, str(thing.pk)) in gone]:
                del things[name]
