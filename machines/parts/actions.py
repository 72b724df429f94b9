"""Parts: adding them, moving them between shelf, supplier and cabinets."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from machines.cabinets.models import CabinetModel, Machine
from machines.faults.models import Fault
from machines.parts.models import Part, PartMove, PartPlace, PartPlaceKind
from machines.parts.queries import lies
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import same
from routeapp.kit.rows import write

FIRST_SHELF = "Parts shelf"


@transaction.atomic
def save_part(
    *,
    part: Part | None,
    name: str,
    number: str = "",
    fits: Iterable[CabinetModel] = (),
    low_at: int = 1,
    notes: str = "",
    by: Any,
    at: datetime,
) -> Part:
    """Add a part, or change the one given; with the first one comes a shelf. Refuses a name that another one has."""
    lock("part", name.lower())
    if Part.objects.filter(name__iexact=name).exclude(pk=part.pk if part else None).exists():
        raise Refused(f"There is a part called {name} already.", "name")
    made = Part.objects.select_for_update().get(pk=part.pk) if part else Part()
    write(made, {"name": name, "number": number, "low_at": low_at, "notes": notes})
    made.fits.set(fits)
    first_shelf(by=by, at=at)
    audit.record("changed a part" if part else "added a part", made, by=by, at=at)
    return made


@transaction.atomic
def add_shelf(*, name: str, by: Any, at: datetime) -> PartPlace:
    """Add a place where parts lie. Refuses a name that is taken."""
    lock("part place", name.lower())
    if PartPlace.objects.filter(name__iexact=name).exists():
        raise Refused(f"There is a place called {name} already.", "name")
    place = PartPlace.objects.create(name=name)
    audit.record("added a place for parts", place, by=by, at=at)
    return place


@transaction.atomic
def first_shelf(*, by: Any, at: datetime) -> PartPlace:
    """The shelf that was there first, made now when there is none."""
    lock("part place", FIRST_SHELF.lower())
    return PartPlace.objects.filter(kind=PartPlaceKind.SHELF).order_by("pk").first() or add_shelf(
        name=FIRST_SHELF, by=by, at=at
    )


@transaction.atomic
def move_part(
    *,
    uuid: UUID,
    part: Part,
    pieces: int,
    from_place: PartPlace | None = None,
    to_place: PartPlace | None = None,
    outside: str = "",
    fault: Fault | None = None,
    machine: Machine | None = None,
    cost_cents: int | None = None,
    note: str = "",
    by: Any,
    at: datetime,
    received_at: datetime,
    source: UUID | None = None,
) -> PartMove:
    """Move pieces between two shelves, or between a shelf and the kind of place `outside`; `cost_cents` is what
    those from a supplier cost together.

    The same `uuid` again changes nothing. Refuses more than lies on the shelf it comes from, and shelf to same shelf.
    """
    lock("part move", uuid)
    source_place, target = from_place or _outside(outside), to_place or _outside(outside)
    cost = cost_cents if source_place.kind == PartPlaceKind.SUPPLIER else None
    said = {"part": part, "pieces": pieces, "from_place": source_place, "to_place": target, "cost_cents": cost}
    if known := PartMove.objects.filter(uuid=uuid).first():
        return same(known, note=note, **said)
    Part.objects.select_for_update().get(pk=part.pk)
    if source_place == target:
        raise Refused("It would stay where it is. Choose two places.", "to_place")
    if from_place and (there := lies(part)[from_place]) < pieces:
        raise Refused(f"Only {there} lie in {from_place} by the books. Count them and note what was found.", "pieces")
    move = PartMove.objects.create(
        uuid=uuid,
        **said,
        fault=fault,
        machine=machine or (fault.machine if fault else None),
        note=note,
        by=by,
        at=at,
        received_at=received_at,
        source=source,
    )
    if source is None:
        audit.record("moved parts", move, by=by, at=received_at)
    return move


def _outside(kind: str) -> PartPlace:
    label = PartPlaceKind(kind).label
    return PartPlace.objects.get_or_create(kind=kind, defaults={"name": label})[0]
