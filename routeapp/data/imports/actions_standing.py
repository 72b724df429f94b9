"""One cabinet that stands somewhere already, written down by hand: the same as one row of a spreadsheet."""

from datetime import datetime
from typing import Any

from django.db import transaction

from machines.cabinets.actions_meter_changes import NewMeter, add_meter
from machines.cabinets.models import Counts, Machine
from routeapp.data.imports.actions_run import Run
from routeapp.data.imports.actions_stays import write_stays
from routeapp.data.imports.actions_things import write_named
from routeapp.data.imports.models import Noun
from routeapp.data.imports.rules_lines import Line
from routeapp.kit.errors import Refused
from routeapp.team.queries import business

FEWEST_DIGITS = 6


@transaction.atomic
def add_standing(*, values: dict[str, Any], plays: int | None, by: Any, at: datetime) -> tuple[Machine, bool]:
    """Make what `values` name by meaning, place the cabinet from now on and start its plays meter at `plays`.

    Gives the cabinet, and whether it is new: the same form twice is one. Refuses what the actions for each refuse.
    """
    run = Run(by=by, at=at, zone=business().time_zone)
    write_named(run, Line("", 0, values))
    write_stays(run)
    if run.problems:
        raise Refused(run.problems[0].text)
    (machine,) = run.machines.values()
    new = run.made[Noun.CABINET.label] > 0
    if new and plays is not None:
        meter = NewMeter(Counts.PLAYS, max(FEWEST_DIGITS, len(str(plays))), plays)
        add_meter(machine=machine, new=meter, by=by, at=at, received_at=at)
    return machine, new
