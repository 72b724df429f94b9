"""A small route to plan: five floors around a pier, two people who drive, a store, a van, prizes and a mix."""

from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from types import SimpleNamespace
from uuid import UUID

from locations.models import OpeningHours
from routeapp.models import Business, Mix, Place
from routeapp.planning.actions_crew import save_driver, save_vehicle
from routeapp.planning.actions_rounds import make_round
from routeapp.stock import actions as stock
from routeapp.stock.models import PlaceKind
from routeapp.visits import rules_document
from routeapp.visits.actions import record_visit
from tests import factories

MONDAY = datetime(2026, 6, 1, 12, tzinfo=UTC)  # 07:00 in Chicago
DAY = MONDAY.date()
NAMES = ("Pier hall", "Lamp arcade", "Kite café", "Gull baths", "Far farm")


def make_route(owner, hand, hours=True):
    """A business in Chicago; the hand drives on weekdays from eight to four, the owner on Mondays."""
    Business.objects.get_or_create(
        pk=1, defaults={"name": "Pier Nine", "currency": "USD", "time_zone": "America/Chicago"}
    )
    who = {"by": owner, "at": MONDAY}
    van = save_vehicle(vehicle=None, name="Blue van", pieces=800, cents_per_km=40, **who)
    start = {"start_name": "Boathouse", "start_latitude": Decimal("41.9"), "start_longitude": Decimal("-87.6")}
    for person, days in ((hand, range(5)), (owner, [0])):
        shifts = {day: (time(8), time(16)) for day in days}
        save_driver(person=person, hours=shifts, vehicle=van, cents_per_hour=2400, **start, **who)
    places = [floor(name, number, hours) for number, name in enumerate(NAMES)]
    made = SimpleNamespace(owner=owner, hand=hand, vehicle=van, places=places, **_goods(owner, hand))
    made.machines = [place.placements.get().machine for place in places]
    return made


def floor(name, number, hours=True):
    """One location with one cabinet, two kilometres further north than the one before."""
    place = factories.LocationFactory(
        name=name,
        time_zone="America/Chicago",
        latitude=Decimal("41.9") + Decimal("0.02") * (number + 1),
        longitude=Decimal("-87.6"),
    )
    place.host.contacts.create(name="Mika Ode", phone="+1 555-0117")
    factories.PlacementFactory(location=place, machine=factories.MachineFactory())
    if hours:
        OpeningHours.objects.bulk_create(
            OpeningHours(location=place, weekday=day, opens=time(9), closes=time(17)) for day in range(7)
        )
    return place


def _goods(owner, hand):
    store = Place.objects.create(kind=PlaceKind.STORE, name="Store")
    van = Place.objects.create(kind=PlaceKind.VAN, name="Hand's van", person=hand)
    prizes = [factories.PrizeFactory(name="Plush owl"), factories.PrizeFactory(name="Tin robot")]
    mix = Mix.objects.create(name="Pier mix")
    for prize in prizes:
        mix.lines.create(prize=prize, quantity=1)
        bring(prize, 1000, store, owner)
    return {"store": store, "van": van, "prizes": prizes, "mix": mix}


def bring(prize, pieces, place, owner):
    start = MONDAY - timedelta(days=60)
    supplier = stock.beyond(PlaceKind.SUPPLIER)
    stock.move(
        prize=prize, quantity=pieces, from_place=supplier, to_place=place, by=owner, at=start, received_at=start,
        cost_cents=pieces * 100,
    )  # fmt: skip


def a_round(route, places=None, *, person=None, day=DAY, number=1):
    """A round put together by hand."""
    order = [place.pk for place in (route.places[:3] if places is None else places)]
    person = person or route.hand
    return make_round(uuid=UUID(int=number), person=person, day=day, order=order, by=route.owner, at=MONDAY)


def visited(route, place, at, *, number, minutes=20, by=None):
    """A visit at one place that does nothing but stop there."""
    document = {
        "id": str(UUID(int=number)),
        "location": place.pk,
        "arrived_at": at.isoformat(),
        "departed_at": (at + timedelta(minutes=minutes)).isoformat(),
        "note": "looked in",
    }
    read = rules_document.read(document)
    return record_visit(document=read, photos={}, by=by or route.hand, at=at + timedelta(minutes=minutes))[0]
