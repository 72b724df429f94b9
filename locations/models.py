"""The tables of where cabinets stand and on what terms; each feature keeps its own models."""

from locations.agreements.models import Agreement, Term
from locations.hosts.models import Contact, Host
from locations.placements.models import Placement, WithdrawnPlacement
from locations.sites.models import Location, OpeningHours
from locations.taxes.models import CabinetTax, Jurisdiction, LocationTax, TaxRule

__all__ = [
    "Agreement",
    "CabinetTax",
    "Contact",
    "Host",
    "Jurisdiction",
    "Location",
    "LocationTax",
    "OpeningHours",
    "Placement",
    "TaxRule",
    "Term",
    "WithdrawnPlacement",
]
