"""March 2026 on a small route, worked out by hand.

Lantern Arcade (Chicago) has C1 and C2, Pier Café (Lisbon) has C3; a play costs 1.00 and a plush owl cost 0.80.
The arcade gets 40 % of the take until 15 March and 50 % from 16 March on, the café 33.33 %.

    day, there          cabinet   plays   take     meter says   owls won
    Mon  2 March        C1          120   120.00    120.00
                        C2           60    57.00     60.00
    Mon  9 March        C1          180   180.00    180.00        6
                        C2           90    90.00     90.00        3
    Tue 10 March        C3           40    40.10     40.00
    Sun 15 March, 23:30 C1           50    50.05     50.00
    Wed 18 March        C1           50    50.00     50.00
                        C2           80   sealed     80.00

The night visit of the 15th is on the 16th in London, and belongs to the week of the 9th all the same.
"""

from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace

from locations.models import Agreement, Term
from machines.cabinets import actions_meter_changes
from machines.models import Reading
from routeapp.stock import actions as stock
from routeapp.stock.models import Place, PlaceKind
from routeapp.visits import rules_document
from routeapp.visits.actions import record_visit
from tests import factories
from tests.visits.books import some_id

RECEIVED = datetime(2026, 3, 20, 12, tzinfo=UTC)
MARCH = "since=2026-03-01&until=2026-03-31"


def utc(day, hour, minute=0):
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


def make_route(person):
    """The places, cabinets, terms and prizes, before anybody visits."""
    arcade = factories.LocationFactory(name="Lantern Arcade", time_zone="America/Chicago")
    cafe = factories.LocationFactory(name="Pier Café", time_zone="Europe/Lisbon")
    meters = [factories.MeterFactory(machine=factories.MachineFactory(code=code)) for code in ("C1", "C2", "C3")]
    for meter, location in zip(meters, (arcade, arcade, cafe), strict=True):
        factories.PlacementFactory(machine=meter.machine, location=location)
        Reading.objects.create(
            meter=meter, value=100, kind="baseline", by=person, at=factories.LONG_AGO, received_at=factories.LONG_AGO
        )
    for location, day, rate in ((arcade, 1, 4000), (arcade, 16, 5000), (cafe, 1, 3333)):
        agree(location, date(2026, 3, day), rate, person)
    store = Place.objects.create(kind=PlaceKind.STORE, name="Store")
    owl = factories.PrizeFactory(name="Plush owl")
    stock.move(
        prize=owl,
        quantity=500,
        cost_cents=40_000,
        from_place=stock.beyond(PlaceKind.SUPPLIER),
        to_place=store,
        by=person,
        at=utc(1, 8),
        received_at=RECEIVED,
    )
    return SimpleNamespace(person=person, arcade=arcade, cafe=cafe, meters=meters, store=store, owl=owl)


def agree(location, starts_on, rate, person):
    agreement = Agreement.objects.create(
        location=location, starts_on=starts_on, by=person, at=RECEIVED, received_at=RECEIVED
    )
    Term.objects.create(agreement=agreement, rate_bp=rate)


def visit(route, location, at, *entries, name=None):
    """Record one stop; entries are made by `entry`. Answers with the visit."""
    name = name or f"{location.name} {at:%d %H:%M}"
    document = {
        "id": some_id(name),
        "location": location.pk,
        "arrived_at": at.isoformat(),
        "departed_at": (left := at + timedelta(minutes=15)).isoformat(),
        "load_from": route.store.pk,
        "loose_bag": {"id": some_id(f"bag {name}"), "number": f"L {name}"[:40]},
        "entries": [{"id": some_id(f"{name} {one['machine']}"), **one} for one in entries],
    }
    return record_visit(document=rules_document.read(document), photos={}, by=route.person, at=max(RECEIVED, left))[0]


def entry(route, cabinet, *, reading=None, cents=None, found=None, loaded=None, **more):
    """One service entry: cabinet number, what its meter shows, cash counted, owls found and loaded."""
    meter, owl = route.meters[cabinet - 1], route.owl.pk
    return {
        "machine": meter.machine_id,
        "readings": [] if reading is None else [{"meter": meter.pk, "value": reading}],
        "cash": {} if cents is None else {"taken": "counted", "how": "amount", "cents": cents},
        "found": [] if found is None else [{"prize": owl, "pieces": found}],
        "loaded": [] if loaded is None else [{"prize": owl, "pieces": loaded}],
        **more,
    }


def sealed(name):
    return {"taken": "sealed", "bag": {"id": some_id(name), "number": name}, "estimate_cents": 8000}


def tell(person):
    """The whole story of the table above."""
    return tell_on(make_route(person))


def tell_on(route):
    visit(
        route,
        route.arcade,
        utc(2, 18),
        entry(route, 1, reading=220, cents=12_000, loaded=50),
        entry(route, 2, reading=160, cents=5_700, loaded=40),
    )
    visit(
        route,
        route.arcade,
        utc(9, 18),
        entry(route, 1, reading=400, cents=18_000, found=44),
        entry(route, 2, reading=250, cents=9_000, found=37),
    )
    visit(route, route.cafe, utc(10, 11), entry(route, 3, reading=140, cents=4_010))
    route.night = visit(route, route.arcade, utc(16, 4, 30), entry(route, 1, reading=450, cents=5_005))
    visit(
        route,
        route.arcade,
        utc(18, 18),
        entry(route, 1, reading=500, cents=5_000),
        entry(route, 2, reading=330, cash=sealed("S-77")),
    )
    return route


def change_price(machine, cents, shown, facts):
    """The price changes while the plays meter shows `shown`."""
    actions_meter_changes.change_price(
        machine=machine, price_cents=cents, closing=actions_meter_changes.Closing(shown), **facts
    )
