"""What came of the invented orders: looked at, claimed, tried on the bench; the spares and the keys of the business."""

from typing import Any
from uuid import uuid5

from machines.arrivals.actions import Photographed, record_arrival
from machines.arrivals.actions_claims import Asked, note_step, raise_claim
from machines.arrivals.forms import CabinetForm, Sheet
from machines.arrivals.models import Arrival, Finding
from machines.bench.actions import record_test
from machines.bench.queries import checks_of as bench_checks_of
from machines.bench.rules import Coin, Shown
from machines.cabinets.models import Machine
from machines.faults.models import Fault
from machines.parts.actions import first_shelf, move_part, save_part
from machines.parts.actions_keys import add_copies, hand_over, save_lock
from machines.purchases.models import Order
from routeapp.data.demo import names, pictures
from routeapp.data.demo.cast import Cast

PARTS = (("Claw coil, 12 V", 2, 5), ("Joystick microswitch", 4, 9), ("LED strip, 1 m", 2, 1))  # low at, on the shelf
BROKEN = {
    "Glass and acrylic": ("damaged", "front pane cracked across the lower corner"),
    "Topper": ("missing", "not in the crate"),
    "Screws and feet": ("fixed", "two feet tightened"),
}


def take_in(order: Order, *, broken: bool, facts: dict[str, Any]) -> Arrival:
    """The delivery of an order with all its cabinets unpacked; when `broken`, the second came damaged."""
    about = {"order": order, "now": facts["at"], "zone": names.ZONE}
    cabinets = Sheet(**about).cabinets
    hurt = cabinets[1].machine if broken else None
    many = str(len(cabinets))
    typed = {
        "carrier": "Skerry Haulage",
        "listed": many,
        "came": many,
        "outside": "damaged" if broken else "fine",
        "receipt_words": "Piece 2: crate corner crushed, film torn. Photos taken." if broken else "",
        "spare0_name": "Claw coil, 12 V",
        "spare0_listed": many,
        "spare0_came": str(len(cabinets) - broken),
    }
    for form in cabinets:
        typed |= _unpacked(form, BROKEN if form.machine == hurt else {})
    sheet = Sheet(**about, fields=typed)
    if not sheet.is_valid():
        raise RuntimeError(f"The invented delivery of {order} is not taken: {sheet.errors()}")
    photos = {}
    if hurt:
        photos = {
            uuid5(order.uuid, "photo"): Photographed(pictures.cabinet(hurt.model.kind, 3), hurt.pk, next(iter(BROKEN)))
        }
    told = sheet.told(uuid5(order.uuid, "delivery"), "", typed)
    return record_arrival(told=told, photos=photos, **facts)[0]


def _unpacked(form: CabinetForm, found: dict[str, tuple[str, str]]) -> dict[str, str]:
    """One cabinet as the page at the door has it."""
    typed = {form.add_prefix("unpacked"): "rest", form.add_prefix("serial"): f"DO{7300 + form.machine.pk}"}
    for what, (state, note, _) in zip(form.checks, form.rows(), strict=True):
        typed[state.html_name], typed[note.html_name] = found.get(what, ("", ""))
    return typed | {field.html_name: "2" for field in form.key_fields()}


def claim(arrival: Arrival, told: dict[str, Any], replied: dict[str, Any], sent: dict[str, Any]) -> None:
    """A claim to the supplier for what was broken: told, answered, the glass on its way by air."""
    wrong = Finding.objects.filter(arrival=arrival, machine__isnull=False, state__in=["damaged", "missing"])
    items = [Asked(one, 64_00 if one.what == "Topper" else 88_00, "part") for one in wrong]
    supplier = arrival.order.supplier
    made = raise_claim(
        uuid=uuid5(arrival.uuid, "claim"),
        arrival=arrival,
        addressee="supplier",
        name=supplier.name,
        regime="promise",
        promise_days=supplier.promise_days,
        delivered_on=arrival.at.date(),
        items=items,
        note="Photos are attached. The pane is needed before the cabinet can stand anywhere.",
        by=told["by"],
        at=told["at"],
    )
    glass = made.items.get(finding__what="Glass and acrylic")
    for step, text, item, facts in (
        ("notice", "Mail with the paper and the photos", None, told),
        ("reply", "The pane goes out by air this week; the topper with the next crate.", None, replied),
        ("sent", "By air, waybill still to come", glass, sent),
    ):
        note_step(uuid=uuid5(made.uuid, step), claim=made, step=step, text=text, item=item, **facts)


def pass_bench(machine: Machine, facts: dict[str, Any]) -> None:
    """A test in which all was well."""
    checks = dict.fromkeys(bench_checks_of(machine.model), "fine")
    coins = [Coin(25, 20, 20), Coin(100, 10, 10)]
    shown = Shown(starts=True, checks=checks, coins=coins, plays=30, labelled=True)
    record_test(
        uuid=uuid5(names.NAMES, f"bench {machine.code}"),
        machine=machine,
        starts="yes",
        shown=shown,
        wins=3,
        watts=66,
        **facts,
    )


def stock_up(cast: Cast, facts: dict[str, Any]) -> None:
    """Spares on the shelf, one of them used on a fault; the keys of the older cabinets, keyed alike."""
    signed = {"by": facts["by"], "at": facts["at"]}
    shelf = first_shelf(**signed)
    for name, low_at, pieces in PARTS:
        part = save_part(part=None, name=name, low_at=low_at, **signed)
        uuid = uuid5(names.NAMES, f"part {name}")
        move_part(
            uuid=uuid, part=part, pieces=pieces, to_place=shelf, outside="supplier", cost_cents=pieces * 640, **facts
        )
        if fault := name.startswith("Joystick") and Fault.objects.filter(machine__model__kind="claw").first():
            used = {"from_place": shelf, "outside": "cabinets", "fault": fault}
            move_part(uuid=uuid5(uuid, "used"), part=part, pieces=1, **used, **facts)
    lock = save_lock(held=None, name="Cash box", number="KR-14", machines=cast.machines.values(), **signed)
    first, second, third = add_copies(uuid=uuid5(names.NAMES, "keys"), of=lock, copies=3, **signed)
    hand = cast.people[names.HAND.username]
    hand_over(uuid=uuid5(names.NAMES, "key 1"), key=first, held="person", person=hand, **signed)
    hand_over(uuid=uuid5(names.NAMES, "key 2"), key=second, held="lost", note="fell into the harbour", **signed)
