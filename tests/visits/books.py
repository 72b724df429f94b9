"""A small world for tests of visits, visit documents for it, and a snapshot of all its books."""

from collections import defaultdict
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from uuid import UUID, uuid5

from django.db.models import Sum

from machines.cabinets import queries_meters
from machines.models import Reading
from routeapp.cash import queries as queries_cash
from routeapp.cash.models import CashMove
from routeapp.stock import actions as stock
from routeapp.stock import queries as stock_queries
from routeapp.stock.models import Holding, Place, PlaceKind, StockMove
from routeapp.visits import queries, rules_document
from routeapp.visits.actions import record_visit
from routeapp.visits.models import Visit
from tests import factories

START = datetime(2026, 3, 2, 10, tzinfo=UTC)
FOREVER = datetime(2100, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)
SPACE = UUID("6f1c6f0e-7d1a-4b7e-9a53-0d3a53c1b0aa")


def some_id(name):
    return str(uuid5(SPACE, name))


def make_world(person):
    """One location with two cabinets that have a plays meter at 1.00 each, and a store with two prizes."""
    location = factories.LocationFactory(name="Lantern Arcade", time_zone="America/Chicago")
    meters = [factories.MeterFactory() for _ in range(2)]
    for meter in meters:
        factories.PlacementFactory(machine=meter.machine, location=location)
        Reading.objects.create(
            meter=meter, value=100, kind="baseline", by=person, at=factories.LONG_AGO, received_at=factories.LONG_AGO
        )
    store = Place.objects.create(kind=PlaceKind.STORE, name="Store")
    prizes = [factories.PrizeFactory(name="Plush owl"), factories.PrizeFactory(name="Tin robot")]
    supplier = stock.beyond(PlaceKind.SUPPLIER)
    bought = [
        StockMove(prize=prize, quantity=pieces, cost_cents=cents, from_place=supplier, to_place=store, at=START + day)
        for day, pieces, cents in ((-30 * DAY, 500, 40_000), (4 * DAY, 300, 36_000), (9 * DAY, 200, 14_000))
        for prize in prizes
    ]
    stock.record(moves=bought, by=person, at=START)
    return SimpleNamespace(person=person, location=location, meters=meters, store=store, prizes=prizes)


def add_prizes_meter(world, shown=0, digits=3):
    """The first cabinet gets a prizes meter, `world.out`."""
    machine = world.meters[0].machine
    world.out = factories.MeterFactory(machine=machine, counts="prizes_out", value_cents=0, digits=digits)
    facts = {"by": world.person, "at": factories.LONG_AGO, "received_at": factories.LONG_AGO}
    Reading.objects.create(meter=world.out, value=shown, kind="baseline", **facts)
    return world


def document(world, name, *, days=0.0, entries=(), **more):
    """A visit document as a phone would send it; `days` after START."""
    arrived = START + timedelta(days=days)
    return {
        "id": some_id(name),
        "location": world.location.pk,
        "arrived_at": arrived.isoformat(),
        "departed_at": (arrived + timedelta(minutes=20)).isoformat(),
        "load_from": world.store.pk,
        "loose_bag": {"id": some_id(f"bag {name}"), "number": f"L-{name}"},
        "entries": list(entries),
        **more,
    }


def entry(world, name, cabinet=0, *, reading=None, out=None, cents=None, found=None, loaded=None, explained="", **more):
    """One service entry: readings of the plays meter and of the prizes meter that the first cabinet may have, with what
    is `explained` about that; a counted sum, pieces found and loaded by prize number."""
    meter = world.meters[cabinet]
    readings = [] if reading is None else [{"meter": meter.pk, "value": reading}]
    if out is not None and not cabinet:
        readings.append({"meter": world.out.pk, "value": out, "explained_as": explained})

    def parts(pieces):
        return [{"prize": world.prizes[number].pk, "pieces": many} for number, many in (pieces or {}).items()]

    return {
        "id": some_id(f"entry {name} {cabinet}"),
        "machine": meter.machine_id,
        "readings": readings,
        "cash": {} if cents is None else {"taken": "counted", "how": "amount", "cents": cents},
        "found": parts(found),
        "loaded": parts(loaded),
        **more,
    }


def record(world, raw, photos=None, by=None, at=FOREVER):
    return record_visit(document=rules_document.read(raw), photos=photos or {}, by=by or world.person, at=at)


def snapshot(world):
    """Everything the books say, in a form that does not show in which order facts arrived."""
    machines = [meter.machine_id for meter in world.meters]
    figures = queries.figures(machines, factories.LONG_AGO, FOREVER)
    return {
        "holdings": dict_of(Holding.objects.exclude(pieces=0).values_list("place__name", "prize__name", "pieces")),
        "moved": stock_balances(),
        "purses": purse_balances(),
        "bags": dict_of(queries_cash.bags().exclude(holds=0).values_list("uuid", "number", "holds")),
        "intervals": [
            (one.meter.pk, one.interval.start.at, one.interval.end.at, one.interval.counts, one.interval.how)
            for one in queries_meters.intervals(machines, factories.LONG_AGO, FOREVER)
        ],
        "figures": [
            (one.entry.machine_id, one.entry.at, one.plays, one.take, one.variance, one.prizes_won, one.prize_cost)
            for one in figures
        ],
        "made by": set(Visit.objects.live().filter(void=False).values_list("at", "made_by")),
        "bags by": set(queries_cash.bags().exclude(holds=0).values_list("uuid", "by")),
        "costs": {prize: pool.unit_cost() for prize, pool in stock_queries.unit_costs().items()},
    }


def dict_of(rows):
    return {tuple(row[:-1]): row[-1] for row in rows}


def stock_balances():
    """Pieces by place and prize as the sum of all moves, places beyond us included."""
    found = defaultdict(int)
    for end, sign in (("to_place", 1), ("from_place", -1)):
        for place, prize, pieces in StockMove.objects.values_list(f"{end}__name", "prize__name").annotate(
            pieces=Sum("quantity")
        ):
            found[place, prize] += sign * pieces
    return {key: pieces for key, pieces in found.items() if pieces}


def purse_balances():
    """Money by purse, cabinet, bag and location as the sum of all moves."""
    found = defaultdict(int)
    for move in CashMove.objects.all():
        for purse, sign in ((move.to_purse, 1), (move.from_purse, -1)):
            bag = move.bag.uuid if purse == "bag" else None
            found[purse, move.machine_id, move.location_id, bag] += sign * move.cents
    return {key: cents for key, cents in found.items() if cents}
