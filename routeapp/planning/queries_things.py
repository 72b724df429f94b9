"""What a round needs besides prizes: spares for open faults, keys, labels, coin trays."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from machines.cabinets.models import Machine
from machines.faults.queries import open_faults
from machines.labels.queries import labels_of
from machines.parts.models import Held, Lock
from machines.parts.queries import Copy, copies_of, parts
from routeapp.planning.models_rounds import LoadTick


@dataclass
class Line:
    """One line to tick. `uuid` is the id of the tick that the page may send."""

    name: str
    text: str
    pieces: int = 0
    store: int | None = None
    detail: str = ""
    warning: str = ""
    tick: LoadTick | None = None
    uuid: Any = field(default_factory=uuid4)

    @property
    def is_in(self) -> bool:
        return self.tick is not None and self.tick.on

    @property
    def is_prize(self) -> bool:
        return self.name.startswith("prize-")

    @property
    def can_be_ticked(self) -> bool:
        """Of a prize there may be nothing to fetch: enough lies in the van, or none anywhere."""
        return self.is_in or not self.is_prize or self.pieces > 0

    @property
    def is_there(self) -> bool:
        return not self.can_be_ticked and not self.warning


def things_for(machines: Sequence[Machine], person: int) -> list[Line]:
    """Spares for open faults, keys, missing labels and coin trays, in constant queries."""
    return [*_faults(machines), *_locks(machines, person), *_labels(machines), *_trays(machines)]


def _faults(machines: Sequence[Machine]) -> Iterable[Line]:
    """A line for each open fault with the spares that fit its cabinet."""
    by_pk = {one.pk: one for one in machines}
    faults = list(open_faults().filter(machine__in=by_pk))
    spares = list(parts()) if faults else []
    for fault in faults:
        model = by_pk[fault.machine_id].model_id
        fits = [part for part in spares if not part.fits.all() or any(one.pk == model for one in part.fits.all())]
        there = [f"{part} ({part.on_hand} on the shelf)" for part in fits if part.on_hand > 0]
        said = fault.text or fault.get_about_display()
        yield Line(
            f"fault-{fault.pk}",
            f"Parts for {by_pk[fault.machine_id].code}: {said}",
            detail=f"Fits: {', '.join(there[:4])}" if there else "",
            warning="" if there else "No spare that fits lies on a shelf.",
        )


def _locks(machines: Sequence[Machine], person: int) -> Iterable[Line]:
    """A line for each key that is needed, and where a copy is."""
    by_pk = {one.pk: one.code for one in machines}
    locks = list(Lock.objects.filter(machines__in=by_pk).distinct().prefetch_related("machines"))
    copies = copies_of(locks)
    for lock in locks:
        codes = ", ".join(sorted(by_pk[one.pk] for one in lock.machines.all() if one.pk in by_pk))
        where = _copy(copies.get(lock.pk, ()), person)
        warning = "" if where else "No copy is with you or with the spare keys: ask who has one."
        yield Line(f"lock-{lock.pk}", f"Key: {lock}", detail=f"{codes}. {where}".strip(), warning=warning)


def _copy(copies: Sequence[Copy], person: int) -> str:
    """Which copy of a key to take, the person's own before a spare one; empty when there is neither."""
    for copy in copies:
        if copy.move.held == Held.PERSON and copy.move.person_id == person:
            return f"You have copy {copy.key.tag}."
    spare = next((copy for copy in copies if copy.move.held == Held.SAFE), None)
    return f"Copy {spare.key.tag} is with the spare keys." if spare else ""


def _labels(machines: Sequence[Machine]) -> Iterable[Line]:
    has = labels_of(machines)
    for one in machines:
        if one.pk not in has:
            yield Line(f"label-{one.pk}", f"Label for {one.code}", detail="It has none yet: print one.")


def _trays(machines: Sequence[Machine]) -> Iterable[Line]:
    if machines:
        yield Line("trays", "Coin trays and bags", len(machines), detail="one for each cash box")
