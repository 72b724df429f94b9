"""The first steps of an empty business."""

from dataclasses import dataclass

from locations.placements.models import Placement
from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.stock.models import Holding, PlaceKind, Prize
from routeapp.team.models import UNNAMED, Business
from routeapp.team.queries import people
from routeapp.visits.models import Visit

HANDS = "owner,route hand"


@dataclass(frozen=True)
class Step:
    """One of the first steps of an empty business."""

    text: str
    to: str
    done: bool
    roles: str = "owner"  # who may do it


def _is_filled() -> bool:
    return Holding.objects.filter(place__kind=PlaceKind.CABINET).exists()


def first_steps(business: Business) -> list[Step]:
    """What to do before the first visit; empty once a visit was logged."""
    if Visit.objects.exists():
        return []
    named = business.name != UNNAMED
    return [
        # First, because the currency is settled once a cabinet has a price.
        Step("Say what your business is called, its currency and its time zone", "business-edit", named),
        Step("Add a cabinet you own, with its model and meters", "standing-add", Machine.objects.exists()),
        Step("Add the location where it stands, and its host", "location-add", Location.objects.exists(), HANDS),
        Step("Assign the cabinet to the location", "placement-assign", Placement.objects.exists(), HANDS),
        Step("Add the prizes it gives", "prize-add", Prize.objects.exists(), HANDS),
        Step("If prizes are inside already, say which and what they cost", "stock-inside", _is_filled(), HANDS),
        Step("Add the people who visit it", "person-add", people().count() > 1),
    ]
