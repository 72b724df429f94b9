"""What a visit mends ends that a cabinet is out of order. a correction of the visit takes that back, in any order."""

from uuid import uuid4

import pytest

from machines.cabinets.actions import change_status
from machines.faults.actions import report_fault
from machines.models import StatusChange
from tests.visits.books import DAY, START, document, entry, make_world, record

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
@pytest.mark.parametrize("mended_at_all", [True, False])
def test_correction_takes_back_that_it_was_mended(owner, order, mended_at_all):
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

    machine.refresh_from_db()
    steps = StatusChange.objects.live().filter(machine=machine).order_by("at").values_list("status", flat=True)
    assert list(steps) == ["placed", "out_of_order", *["placed"] * mended_at_all]
    assert machine.status == steps.last()
