"""Reads about tax inside the price."""

from collections import defaultdict
from collections.abc import Iterable

from locations.taxes.models import CabinetTax, LocationTax, TaxRule
from locations.taxes.rules import Rule, TaxBook


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
