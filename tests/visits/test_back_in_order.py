"""What a visit mends ends that a cabinet is out of order. a correction of the visit takes that back, in any order."""

import threading
from uuid import UUID, uuid4

import pytest
from django.db import connection, transaction

from machines.cabinets.actions import change_status
from machines.faults.actions import fix_fault, report_fault
from machines.models import Fault, StatusChange
from routeapp.models import StockCount, Visit
from routeapp.stock import actions as stock
from tests.stock.test_races import somebody_could_wait, somebody_waits
from tests.visits.books import DAY, START, document, entry, make_world, record

pytestmark = pytest.mark.django_db
LATER = uuid4()


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
@pytest.mark.parametrize("mended_at_all", [True, False])
@pytest.mark.parametrize("stopped_since", [True, False])
def test_correction_takes_back_that_it_was_mended(owner, order, mended_at_all, stopped_since):
    world = make_world(owner)
    machine, facts = world.meters[0].machine, {"by": owner, "at": START - DAY, "received_at": START}
    for status, at in (("placed", START - 9 * DAY), ("out_of_order", START - DAY)):
        change_status(machine=machine, status=status, **facts | {"at": at})
    fault = report_fault(uuid=uuid4(), machine=machine, text="Dark", via="host", stops_play=True, **facts)
    fixed = [{"fault": str(fault.uuid), "how": "New fuse"}]
    wrong = document(world, "a", entries=[entry(world, "a", reading=150, fixed=fixed)])
    more = {"replaces": wrong["id"], "reason": "typed it wrong"}
    right = document(world, "b", entries=[entry(world, "b", reading=160, fixed=fixed * mended_at_all)], **more)

    for number in order:
        record(world, [wrong, right][number])
        if stopped_since:
            said = {"text": "Jammed", "via": "label", "stops_play": True}
            report_fault(uuid=LATER, machine=machine, **said, **facts | {"at": START + DAY})

    machine.refresh_from_db()
    steps = StatusChange.objects.live().filter(machine=machine).order_by("at").values_list("status", flat=True)
    assert list(steps) == ["placed", "out_of_order", *["placed"] * mended_at_all]
    assert machine.status == steps.last()


@pytest.mark.django_db(transaction=True)
def test_correction_does_not_keep_the_cabinet_from_a_visit_that_it_waits_for(owner):
    world, facts = make_world(owner), {"by": owner, "at": START - DAY, "received_at": START}
    machine, owl = world.meters[0].machine, world.prizes[0]
    change_status(machine=machine, status="out_of_order", **facts)
    fault = report_fault(uuid=uuid4(), machine=machine, text="Dark", via="host", stops_play=True, **facts)
    said = {
        "fixed": [{"fault": str(fault.uuid), "how": "New fuse"}],
        "faults": [{"id": str(LATER), "text": "Scratched"}],
    }
    wrong = document(world, "a", entries=[entry(world, "a", reading=150, **said)])
    right = document(world, "b", entries=[entry(world, "b", reading=160)], replaces=wrong["id"], reason="typed wrong")
    record(world, wrong)

    def correct():
        record(world, right)
        connection.close()

    meanwhile = threading.Thread(target=correct)
    with transaction.atomic():  # what a visit writes: prizes, then faults
        found = StockCount(prize=owl, place=stock.cabinet_place(machine), quantity=0, at=START + DAY, source=uuid4())
        stock.record(counts=[found], by=owner, at=START + DAY)
        meanwhile.start()
        while somebody_could_wait() and meanwhile.is_alive() and not somebody_waits():
            pass
        fix_fault(fault=Fault.objects.get(uuid=LATER), how="Polished", **facts | {"at": START + DAY})
    meanwhile.join()

    assert list(Visit.objects.live().values_list("pk", flat=True)) == [UUID(right["id"])]
