"""Writing down tax rules, where they hold and for which cabinets."""

from datetime import date, datetime
from typing import Any

from django.db import transaction

from locations.sites.models import Location
from locations.taxes.models import CabinetTax, Jurisdiction, LocationTax, TaxRule
from locations.taxes.rules import ONE, How, Treatment
from machines.cabinets.models import Machine
from routeapp.kit import audit
from routeapp.kit.errors import Refused


@transaction.atomic
def add_rule(
    *,
    jurisdiction: str,
    treatment: str,
    how: str,
    millionths: int,
    valid_from: date,
    valid_to: date | None = None,
    source: str,
    by: Any,
    at: datetime,
) -> TaxRule:
    """Put a rule in force for a jurisdiction, which is made when no other has its name. The same rule twice is one.

    Refuses a figure that cannot be, and another rule from the same day.
    """
    least, most = (0, ONE) if how == How.RATE else (ONE, 2 * ONE)
    if not least <= millionths < most:
        raise Refused("A rate lies between 0 and 100 percent, a divisor between 1 and 2.", "figure")
    if valid_to and valid_to < valid_from:
        raise Refused("The last day lies before the first.", "valid_to")
    place = _jurisdiction(jurisdiction, by, at)
    said = {"how": how, "millionths": millionths, "valid_to": valid_to, "source": source}
    key = {"jurisdiction": place, "treatment": treatment, "valid_from": valid_from}
    there = TaxRule.objects.live().filter(**key).first()
    if there is not None:
        if all(getattr(there, name) == value for name, value in said.items()):
            return there
        raise Refused("Another rule starts on that day. Withdraw it first, or choose another day.", "valid_from")
    rule = TaxRule.objects.create(**key, **said, by=by, at=at, received_at=at)
    audit.record(f"wrote down a tax rule from {valid_from}", place, by=by, at=at)
    return rule


def _jurisdiction(name: str, by: Any, at: datetime) -> Jurisdiction:
    """The one of that name, however it is spelled, locked; or a new one."""
    if not Jurisdiction.objects.filter(name__iexact=name).exists():
        made, is_new = Jurisdiction.objects.get_or_create(name=name)
        if is_new:
            audit.record("added", made, by=by, at=at)
    return Jurisdiction.objects.select_for_update().filter(name__iexact=name)[0]


@transaction.atomic
def withdraw_rule(*, rule: TaxRule, by: Any, at: datetime) -> None:
    """Take back a rule that was written down wrongly; the one before it holds again. It stays readable."""
    if TaxRule.objects.live().filter(pk=rule.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record(f"withdrew the tax rule from {rule.valid_from}", rule.jurisdiction, by=by, at=at)


@transaction.atomic
def tax_location(
    *, location: Location, jurisdiction: Jurisdiction | None, starts_on: date, by: Any, at: datetime
) -> None:
    """Say in which jurisdiction a location lies from a day on; what was said before for that day is withdrawn."""
    Location.objects.select_for_update().get(pk=location.pk)
    before = LocationTax.objects.live().filter(location=location, starts_on=starts_on)
    if before.filter(jurisdiction=jurisdiction).exists():
        return
    before.update(withdrawn_at=at, withdrawn_by=by)
    LocationTax.objects.create(
        location=location, jurisdiction=jurisdiction, starts_on=starts_on, by=by, at=at, received_at=at
    )
    audit.record(f"set the taxes to those of {jurisdiction or 'no place'} from {starts_on}", location, by=by, at=at)


@transaction.atomic
def tax_cabinet(*, machine: Machine, treatment: str, starts_on: date, by: Any, at: datetime) -> None:
    """Say what a play of a cabinet counts as from a day on; what was said before for that day is withdrawn."""
    Machine.objects.select_for_update().get(pk=machine.pk)
    before = CabinetTax.objects.live().filter(machine=machine, starts_on=starts_on)
    if before.filter(treatment=treatment).exists():
        return
    before.update(withdrawn_at=at, withdrawn_by=by)
    CabinetTax.objects.create(machine=machine, treatment=treatment, starts_on=starts_on, by=by, at=at, received_at=at)
    audit.record(f"counts as {Treatment(treatment).label} from {starts_on}", machine, by=by, at=at)
