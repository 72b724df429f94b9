"""Adding and changing prizes, mixes and the places prizes lie in."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import models, transaction

from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.rows import write
from routeapp.stock.models import Mix, MixLine, Place, PlaceKind, Prize

Lines = Sequence[tuple[Prize, int]]


@transaction.atomic
def add_prize(*, name: str, by: Any, at: datetime, **fields: Any) -> Prize:
    """Add a prize; `fields` are columns of Prize. Refuses a name that is taken."""
    _free_name(Prize.objects.all(), name, "prize")
    prize = Prize.objects.create(name=name, **fields)
    audit.record("added a prize", prize, by=by, at=at)
    return prize


@transaction.atomic
def change_prize(*, prize: Prize, name: str, by: Any, at: datetime, **fields: Any) -> Prize:
    """Change columns of a prize. Refuses a name that is taken."""
    prize = Prize.objects.select_for_update().get(pk=prize.pk)
    _free_name(Prize.objects.exclude(pk=prize.pk), name, "prize")
    write(prize, {"name": name, **fields})
    audit.record("changed a prize", prize, by=by, at=at)
    return prize


@transaction.atomic
def make_mix(*, name: str, lines: Lines, by: Any, at: datetime) -> Mix:
    """Make a mix of (prize, pieces) lines. Refuses one without prizes, and a name in use."""
    kept = [(prize, pieces) for prize, pieces in lines if pieces]
    if not kept:
        raise Refused("A mix needs at least one prize. Say how many of which.")
    _free_name(Mix.objects.filter(retired_at=None), name, "mix")
    mix = Mix.objects.create(name=name)
    MixLine.objects.bulk_create(MixLine(mix=mix, prize=prize, quantity=pieces) for prize, pieces in kept)
    audit.record("made a mix", mix, by=by, at=at)
    return mix


@transaction.atomic
def retire_mix(*, mix: Mix, by: Any, at: datetime) -> None:
    """Offer a mix no longer. Phones that carry it may still send it. Refuses one that was retired before."""
    if not Mix.objects.filter(pk=mix.pk, retired_at=None).update(retired_at=at):
        raise Refused("This mix was changed or retired meanwhile. Open the list of mixes for what is in use now.")
    audit.record("retired a mix", mix, by=by, at=at)


@transaction.atomic
def change_mix(*, mix: Mix, name: str, lines: Lines, by: Any, at: datetime) -> Mix:
    """Put a new mix in the place of `mix`, which is retired: what was loaded by it stays what it was."""
    retire_mix(mix=mix, by=by, at=at)
    return make_mix(name=name, lines=lines, by=by, at=at)


@transaction.atomic
def add_place(*, kind: str, name: str, person: Any = None, by: Any, at: datetime) -> Place:
    """Add a store or a van. Refuses a taken name, a van without its person and a person with two vans."""
    _check_place(Place.objects.all(), kind, name, person)
    place = Place.objects.create(kind=kind, name=name, person=person)
    audit.record("added a place", place, by=by, at=at)
    return place


@transaction.atomic
def change_place(*, place: Place, name: str, person: Any = None, by: Any, at: datetime) -> Place:
    """Rename a store or van, or give a van to somebody else. Refuses what add_place refuses."""
    place = Place.objects.select_for_update().get(pk=place.pk)
    _check_place(Place.objects.exclude(pk=place.pk), place.kind, name, person)
    write(place, {"name": name, "person": person})
    audit.record("changed a place", place, by=by, at=at)
    return place


def _check_place(others: models.QuerySet, kind: str, name: str, person: Any) -> None:
    _free_name(others, name, "place")
    if name.lower().startswith("cabinet "):
        raise Refused("So the places inside cabinets are called. Choose another name.", "name")
    if (kind == PlaceKind.VAN) != (person is not None):
        raise Refused("A van belongs to one person, a store to nobody.", "person")
    if person is not None and others.filter(person=person).exists():
        raise Refused(
            "This person has a van already. One each, so that a phone knows where prizes came from.", "person"
        )


def _free_name(others: models.QuerySet, name: str, noun: str) -> None:
    lock(noun, name)
    if others.filter(name=name).exists():
        raise Refused(f"There is a {noun} named “{name}” already.", "name")
