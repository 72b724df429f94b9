"""What the invented business bought: a good shipment by sea, a broken one, a rush order, and one on the water."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid5

from machines.purchases.actions import Charge, Price, add_quote, add_supplier
from machines.purchases.actions_orders import order, pay_cost, reach
from machines.purchases.actions_papers import pay
from machines.purchases.models import Order, OrderedCabinet, Quote, Supplier
from machines.purchases.rules_landed import WHOLE
from routeapp.data.demo import names
from routeapp.data.demo.cast import Cast
from routeapp.data.demo.deliveries import claim, pass_bench, stock_up, take_in

FAR = {
    "name": "Sorrel Bay Cabinet Works", "contact": "Ilva Tamm", "email": "sales@sorrelbay.example",
    "promise": "Glass and parts that arrive broken are sent again free of charge within seven days of a photo.",
    "promise_days": 7,
}  # fmt: skip
NEAR = {
    "name": "Millrace Amusement Supply", "contact": "Odd Perrin", "phone": "555-0172",
    "promise": "What arrives broken is exchanged.", "promise_days": 3,
}  # fmt: skip
BY_SEA = {
    "what": "Dory Mini Claw, spares kit", "term": "FOB", "place": "Sorrel Bay", "mode": "sea", "customs": "us",
    "made_days": 25, "transit_days": 38, "deposit_bp": 3000, "extra_duty_bp": 750, "tariff_code": "9504.30.00",
    "crate_litres": 780, "crate_kg": 84,
}  # fmt: skip
SEA_PRICES = [Price(1, 365_00), Price(3, 328_00), Price(6, 312_00)]
SEA_COSTS = [
    Charge("spares", "each", 12_00),
    Charge("freight", "measure", 58_00),
    Charge("insurance", "share", 120),
    Charge("port", "shipment", 70_00, ours=True),
    Charge("broker", "shipment", 95_00, ours=True),
    Charge("inland", "each", 28_00, ours=True),
    Charge("bank", "shipment", 35_00, ours=True),
]
BY_ROAD = {
    "what": "Dory Mini Claw", "term": "DAP", "place": "our store", "mode": "road", "customs": "none",
    "made_days": 2, "transit_days": 7,
}  # fmt: skip
ROAD_PRICES, ROAD_COSTS = [Price(1, 905_00), Price(4, 880_00)], [Charge("lift_gate", "shipment", 75_00)]
FEE_LOOKED_UP = Charge("processing_fee", "shipment", 34_42, ours=True)  # invented: the demo's owner looked it up


@dataclass(frozen=True)
class _Desk:
    """Writes papers down so many days before now, always at ten in the morning."""

    cast: Cast
    now: datetime  # local

    def day(self, ago: int) -> date:
        return (self.now - timedelta(days=ago)).date()

    def facts(self, ago: int) -> dict[str, Any]:
        at = min(datetime.combine(self.day(ago), datetime.min.time()) + timedelta(hours=10), self.now)
        moment = self.cast.moment(at)
        return {"by": self.cast.owner, "at": moment, "received_at": moment}

    def signed(self, ago: int) -> dict[str, Any]:
        return {name: value for name, value in self.facts(ago).items() if name != "received_at"}


def buy(cast: Cast, now: datetime) -> None:
    """Tell of the suppliers, their quotes and four orders; `now` is local."""
    desk = _Desk(cast, now)
    far, near = (add_supplier(**{"notes": "", **one}, **desk.signed(400)) for one in (FAR, NEAR))
    good = _order(desk, _by_sea(desk, far, 330), 3, 325)
    _go(desk, good, {"made": 301, "shipped": 294, "port": 266, "released": 262}, container="KRDU2048170")
    stock_up(cast, desk.facts(270))
    _came(desk, good, 258)
    broken = _order(desk, _by_sea(desk, far, 100), 3, 96)
    _go(desk, broken, {"made": 66, "shipped": 57, "port": 20, "released": 15}, container="KRDU2051194")
    _came(desk, broken, 9, broken=True)
    rush = _order(desk, _by_road(desk, near, 40), 1, 38)
    _go(desk, rush, {"made": 36, "road": 31})
    _came(desk, rush, 29)
    under_way = _order(desk, _by_sea(desk, far, 60), 3, 52)
    _go(desk, under_way, {"made": 24, "shipped": 12}, container="KRDU2060072", said=-19)
    _by_sea(desk, far, 6)
    _by_road(desk, near, 5)


def _by_sea(desk: _Desk, supplier: Supplier, ago: int) -> Quote:
    return _quote(desk, supplier, ago, SEA_PRICES, [*SEA_COSTS, FEE_LOOKED_UP], **BY_SEA)


def _by_road(desk: _Desk, supplier: Supplier, ago: int) -> Quote:
    return _quote(desk, supplier, ago, ROAD_PRICES, ROAD_COSTS, **BY_ROAD)


def _quote(
    desk: _Desk, supplier: Supplier, ago: int, prices: list[Price], charges: list[Charge], **fields: Any
) -> Quote:
    model = next(one.model for one in desk.cast.machines.values() if one.model.name == names.MODELS["dory"].name)
    said = {"supplier": supplier, "model": model, "currency": names.CURRENCY, "rate": Decimal(1)}
    uuid = uuid5(names.NAMES, f"quote {supplier} {ago}")
    said |= {"received_on": desk.day(ago), "valid_until": desk.day(ago - 45)}
    lines = {"prices": prices, "charges": charges}
    return add_quote(uuid=uuid, **said, **lines, **fields, **desk.signed(ago))


def _order(desk: _Desk, quote: Quote, pieces: int, ago: int) -> Order:
    uuid = uuid5(names.NAMES, f"order {quote.uuid}")
    made = order(uuid=uuid, quote=quote, pieces=pieces, ordered_on=desk.day(ago), **desk.facts(ago))
    price = sum(line.pieces * line.unit_cents for line in made.lines.all())
    deposit = price * quote.deposit_bp // WHOLE
    for note, cents, days in (("Deposit", deposit, 0), ("Balance", price - deposit, quote.made_days)):
        if cents and days <= ago:
            paid = {"cents": cents, "invoice_cents": cents, "note": note}
            pay(uuid=uuid5(uuid, note), order=made, **paid, **desk.facts(ago - days))
    return made


def _go(desk: _Desk, to: Order, steps: dict[str, int], container: str = "", said: int | None = None) -> None:
    for step, ago in steps.items():
        about = {"container": container, "note": "Ship “Petrel Nine”"} if step == "shipped" else {}
        expected = desk.day(said) if step == "shipped" and said is not None else None
        reach(order=to, step=step, expected_on=expected, **about, **desk.facts(ago))


def _came(desk: _Desk, to: Order, ago: int, *, broken: bool = False) -> None:
    pieces = sum(line.pieces for line in to.lines.all())
    arrival = take_in(to, broken=broken, facts=desk.facts(ago))
    pay_cost(order=to, kind="inland", cents=31_50 * pieces, note="as invoiced", **desk.facts(ago - 1))
    if broken:
        claim(arrival, told=desk.facts(ago - 1), replied=desk.facts(ago - 4), sent=desk.facts(ago - 7))
        return
    for cabinet in OrderedCabinet.objects.filter(line__order=to).select_related("machine__model"):
        pass_bench(cabinet.machine, desk.facts(ago - 2))
