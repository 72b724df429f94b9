"""Reads about tax inside the price."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from locations.sites.models import Location
from locations.taxes.models import CabinetTax, Jurisdiction, LocationTax, TaxRule
from locations.taxes.rules import Rule, TaxBook, Treatment
from machines.cabinets.models import Machine


def rules_for(location_ids: Iterable[int]) -> TaxBook:
    """Which rule holds at these locations, for each cabinet and day; in three queries. Ask with `.rule(...)`."""
    places: dict[int, list] = defaultdict(list)
    taxed = LocationTax.objects.live().filter(location__in=list(location_ids))
    for location, *said in taxed.values_list("location", "starts_on", "jurisdiction"):
        places[location].append(tuple(said))
    cabinets: dict[int, list] = defaultdict(list)
    for machine, *said in CabinetTax.objects.live().values_list("machine", "starts_on", "treatment"):
        cabinets[machine].append(tuple(said))
    wanted = {jurisdiction for said in places.values() for _, jurisdiction in said if jurisdiction}
    rules: dict[tuple[int, str], list[Rule]] = defaultdict(list)
    rows = TaxRule.objects.live().filter(jurisdiction__in=wanted).select_related("jurisdiction").order_by("valid_from")
    for row in rows:
        rules[row.jurisdiction_id, row.treatment].append(rule_of(row))
    return TaxBook(places, cabinets, rules)


def rule_of(row: TaxRule) -> Rule:
    return Rule(row.jurisdiction.name, row.treatment, row.valid_from, row.valid_to, row.how, row.millionths, row.source)


@dataclass(frozen=True)
class Listed:
    """One rule as a list shows it."""

    row: TaxRule
    rule: Rule
    state: str

    @property
    def shape(self) -> str:
        return {"in force": "good", "to come": "warn", "withdrawn": "bad"}.get(self.state, "none")


def listed(day: date) -> list[Listed]:
    """All rules, by jurisdiction and treatment, the newest first; `day` tells which are in force."""
    rows = TaxRule.objects.select_related("jurisdiction", "by").order_by(
        "jurisdiction__name", "treatment", "-valid_from", "-pk"
    )
    found, seen = [], set()
    for row in rows:
        rule, about = rule_of(row), (row.jurisdiction_id, row.treatment)
        begun = row.withdrawn_at is None and row.valid_from <= day
        holds = begun and about not in seen and rule.holds_on(day)
        seen |= {about} if begun and rule.holds_on(day) else set()
        state = "withdrawn" if row.withdrawn_at else "in force" if holds else "past" if begun else "to come"
        found.append(Listed(row, rule, state))
    return found


@dataclass(frozen=True)
class Cabinet:
    """A cabinet at a location, what its plays count as today, and the rule for it."""

    code: str
    treatment: str
    rule: Rule | None


def cabinets_at(location: Location, day: date) -> list[Cabinet]:
    book = rules_for([location.pk])
    rows = Machine.objects.filter(placements__location=location, placements__ended_at=None).order_by("code")
    return [
        Cabinet(code, Treatment(book.treatment(pk, day)).label, book.rule(location.pk, pk, day))
        for pk, code in rows.values_list("pk", "code")
    ]


def places_of(location: Location) -> list[LocationTax]:
    """In which jurisdictions a location lay, the newest first."""
    said = LocationTax.objects.live().filter(location=location).select_related("jurisdiction", "by")
    return list(said.order_by("-starts_on", "-pk"))


def place_on(said: Iterable[LocationTax], day: date) -> Jurisdiction | None:
    return next((one.jurisdiction for one in said if one.starts_on <= day), None)


def treatments_of(machine: Machine) -> list[CabinetTax]:
    """What a cabinet's plays counted as, the newest first."""
    said = CabinetTax.objects.live().filter(machine=machine).select_related("by")
    return list(said.order_by("-starts_on", "-pk"))
