"""Agreeing on terms with a host, ending them, and taking back what was written down wrongly."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction

from locations.agreements.models import Agreement, Term
from locations.agreements.rules_periods import DAY
from locations.agreements.rules_terms import COSTS, TermLine, problem_of
from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.kit import audit, clock
from routeapp.kit.errors import Refused
from routeapp.kit.prepared import insert_again

SAID = ("over", "settled", "anchor", "paid", "tiers_on", *(f"{cost}_by" for cost in COSTS), "note")


@transaction.atomic
def add_agreement(
    *,
    location: Location,
    starts_on: date,
    terms: Iterable[TermLine],
    machine: Machine | None = None,
    by: Any,
    at: datetime,
    received_at: datetime,
    **chosen: Any,
) -> Agreement:
    """Put `terms` in force from a day on, for a location or for one cabinet there. `chosen` are further columns:
    settled, anchor, paid, tiers_on, who bears what, note. The same agreement sent twice is one.

    Refuses terms that contradict each other, and a second agreement from the same day: the first is withdrawn before.
    """
    lines = sorted(terms)
    if problem := problem_of(lines):
        raise Refused(problem.words, problem.field)
    wanted = Agreement(location=location, machine=machine, starts_on=starts_on, **chosen)
    if same := _standing(wanted, lines):
        return same
    agreement = _append(wanted, by=by, at=at, received_at=received_at)
    Term.objects.bulk_create(Term(agreement=agreement, **line._asdict()) for line in lines)
    audit.record(f"agreed on terms from {starts_on}", location, by=by, at=received_at)
    return agreement


@transaction.atomic
def end_agreement(*, agreement: Agreement, last_day: date, by: Any, at: datetime) -> Agreement:
    """From the day after `last_day` on nothing is agreed with a location, or about one cabinet alone, as was until then
    by this agreement.

    Refuses an end where nothing or something else holds, and where other terms start the day after anyway.
    """
    about = {"location": agreement.location, "machine": agreement.machine}
    wanted = Agreement(**about, starts_on=last_day + DAY, over=True)
    if same := _standing(wanted, []):
        return same
    held = Agreement.objects.live().filter(**about, starts_on__lte=last_day).order_by("-starts_on").first()
    if held is None or held.over:
        raise Refused("No terms are in force on that day, so there is nothing to end.", "last_day")
    if held != agreement:
        said = f"On that day the terms from {held.starts_on:%-d %B %Y} are in force, not these."
        raise Refused(f"{said} Nothing was ended; look at the list of all terms and end those.", "last_day")
    end = _append(wanted, by=by, at=at, received_at=at)
    audit.record(f"ended the terms after {last_day}", agreement.location, by=by, at=at)
    return end


@transaction.atomic
def withdraw_agreement(*, agreement: Agreement, by: Any, at: datetime) -> None:
    """Take back an agreement that was written down wrongly; the one before it holds again. It stays readable."""
    if Agreement.objects.live().filter(pk=agreement.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record(f"withdrew the terms from {agreement.starts_on}", agreement.location, by=by, at=at)


@transaction.atomic
def reopen_location(*, location: Location, by: Any, at: datetime) -> None:
    """Open a closed location again. What was agreed when it was closed is agreed again from today on; for the days
    between nothing is."""
    location = Location.objects.select_for_update().get(pk=location.pk)
    closed_on, today = location.closed_on, clock.local_day(at, location.time_zone)
    if closed_on is None:
        return
    location.closed_on = None
    location.save(update_fields=["closed_on"])
    audit.record("reopened location", location, by=by, at=at)
    by_cabinet: dict[int | None, list[Agreement]] = {}
    for one in Agreement.objects.live().filter(location=location, starts_on__lte=today).order_by("starts_on"):
        by_cabinet.setdefault(one.machine_id, []).append(one)
    for each in by_cabinet.values():
        _interrupt(each, closed_on, today, by=by, at=at)


def _interrupt(agreements: Sequence[Agreement], closed_on: date, today: date, *, by: Any, at: datetime) -> None:
    """Of what was known at the closing nothing is agreed until today, when the newest of it begins anew; what was
    written down since stands. `agreements` are about the same, oldest first."""
    since, zone = closed_on + DAY, agreements[0].location.time_zone
    known = [one for one in agreements if one.starts_on < since or clock.local_day(one.received_at, zone) <= closed_on]
    before = [one for one in known if one.starts_on < today]
    if since >= today or not before:
        return
    for one in before:
        if one.starts_on >= since:
            withdraw_agreement(agreement=one, by=by, at=at)
    about, newest = {"location": before[-1].location, "machine": before[-1].machine}, before[-1]
    taken = {one.starts_on for one in agreements if one not in before}
    held = [one for one in before if one.starts_on < since]
    if held and not held[-1].over and since not in taken:
        _append(Agreement(**about, starts_on=since, over=True), by=by, at=at, received_at=at)
    if not newest.over and not taken:
        same = {name: getattr(newest, name) for name in SAID}
        anew = _append(Agreement(**about, starts_on=today, **same), by=by, at=at, received_at=at)
        insert_again(newest.terms.all(), agreement=anew.pk)


def _standing(wanted: Agreement, lines: Sequence[TermLine]) -> Agreement | None:
    """The agreement from the same day on that says the same; refuses one that says something else."""
    Location.objects.select_for_update().get(pk=wanted.location_id)
    live = Agreement.objects.live().filter(location=wanted.location, machine=wanted.machine)
    there = live.filter(starts_on=wanted.starts_on).first()
    if there is None:
        return None
    if all(getattr(there, name) == getattr(wanted, name) for name in SAID):
        kept = there.terms.values_list("kind", "rate_bp", "above_cents", "cents", "per")
        if sorted(TermLine(*row) for row in kept) == list(lines):
            return there
    raise Refused(
        "Other terms start on that day. Choose another day, or withdraw them first: open them under “All terms”.",
        "starts_on",
    )


def _append(wanted: Agreement, *, by: Any, at: datetime, received_at: datetime) -> Agreement:
    wanted.by, wanted.at, wanted.received_at = by, at, received_at
    wanted.save(force_insert=True)
    return wanted
