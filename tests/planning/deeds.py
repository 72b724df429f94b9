"""What people write down, of each kind: what is kept of pages has to hear of it."""

import uuid

from locations.placements.actions import end_placement, start_placement
from locations.placements.queries import standing
from locations.sites.actions import edit_location
from machines.cabinets.actions import change_cabinet, change_model
from machines.cabinets.actions_meter_changes import Closing, change_price, reset_meter
from machines.faults.actions import fix_fault, report_fault
from machines.labels.actions import label_for, report_from_label
from machines.models import Fault
from routeapp.cash.actions import count_bag, withdraw_count
from routeapp.models import Bag, BagCount, Visit
from routeapp.planning.actions_due import note_to_do, promise
from routeapp.stock.actions_papers import carry, count_place
from routeapp.stock.models import Place
from routeapp.visits import rules_document
from routeapp.visits.actions import record_visit
from tests import factories
from tests.earnings import story
from tests.visits.books import some_id

NOW = story.utc(20, 12)


def replaced(route, name, *entries, location=None, void=False):
    """A visit of the story corrected, also to another location, or withdrawn."""
    old = Visit.objects.get(pk=some_id(name))
    document = {
        "id": str(uuid.uuid4()),
        "replaces": str(old.pk),
        "reason": "Wrong cabinet",
        "location": location.pk if location else old.location_id,
        "arrived_at": old.at.isoformat(),
        "departed_at": old.departed_at.isoformat(),
        "load_from": route.store.pk,
        "void": void,
        "loose_bag": {"id": str(uuid.uuid4()), "number": "L again"},
        "entries": [{"id": str(uuid.uuid4()), **one} for one in entries],
    }
    record_visit(document=rules_document.read(document), photos={}, by=route.person, at=NOW)


def deeds(route):
    """What people do, one after the other: (a name, how)."""
    who = {"by": route.person, "at": NOW}
    facts = {**who, "received_at": NOW}
    one, two, three = (meter.machine for meter in route.meters)
    arcade, cafe, store, owl = route.arcade, route.cafe, route.store, route.owl
    inside = Place.objects.get(machine=three)
    spare = factories.MachineFactory(code="C4")
    label = label_for(machine=two, **who)

    def paper():
        return {"uuid": uuid.uuid4()}

    def placed(machine):
        return standing().get(machine=machine)

    def visit(name, location, day, *entries):
        return lambda: story.visit(route, location, story.utc(day, 9), *entries, name=name)

    report = {"text": "Claw hangs", "stops_play": True, "via": "crew"}
    stranger = {"address": "198.51.100.7", "text": "No light", "about": "fault", "at": NOW}
    seal = {"how": "weight", "cents": 9_000, "lines": {}, "note": ""}
    return [
        ("visit", visit("a", cafe, 19, story.entry(route, 3, reading=500, cents=26_000, found=9, loaded=30))),
        ("visit that came late", visit("b", arcade, 17, story.entry(route, 1, reading=620, cents=100, found=0))),
        ("sealed bag", visit("c", arcade, 19, story.entry(route, 2, cash=story.sealed("S-9")))),
        ("bag counted", lambda: count_bag(**paper(), bag=Bag.objects.get(number="S-9"), **seal, **facts)),
        ("count withdrawn", lambda: withdraw_count(count=BagCount.objects.live().latest("pk"), **who)),
        ("visit corrected", lambda: replaced(route, "b", story.entry(route, 2, reading=530, cents=50))),
        ("visit withdrawn", lambda: replaced(route, "a", void=True)),
        ("fault", lambda: report_fault(uuid=uuid.UUID(int=7), machine=one, **report, **facts)),
        ("fault fixed", lambda: fix_fault(fault=Fault.objects.get(uuid=uuid.UUID(int=7)), how="Oiled", **facts)),
        ("stranger's report", lambda: report_from_label(label=label, uuid=uuid.uuid4(), **stranger)),
        ("price", lambda: change_price(machine=three, price_cents=200, closing=Closing(700), **facts)),
        ("meter", lambda: reset_meter(meter=route.meters[0], closing=Closing(900), opening=0, **facts)),
        ("model", lambda: change_model(model=two.model, prize_capacity=90, **who)),
        ("cabinet", lambda: change_cabinet(machine=one, code="C1B", **who)),
        ("time zone", lambda: edit_location(location=cafe, name="Café", time_zone="Asia/Tokyo", **who)),
        ("count", lambda: count_place(place=inside, found=[(owl, 3)], reason="", **paper(), **facts)),
        ("prizes put in", lambda: carry(from_place=store, to_place=inside, lines=[(owl, 5)], **paper(), **facts)),
        ("prizes taken out", lambda: carry(from_place=inside, to_place=store, lines=[(owl, 2)], **paper(), **facts)),
        ("placed", lambda: start_placement(**paper(), machine=spare, location=cafe, **facts)),
        ("taken away", lambda: end_placement(placement=placed(two), **facts)),
        ("moved", lambda: start_placement(**paper(), machine=two, location=cafe, **facts)),
        ("to do", lambda: note_to_do(**paper(), location=cafe, errand="bring", text="Sign", **who)),
        ("promise", lambda: promise(location=cafe, every_days=9, **who)),
    ]
