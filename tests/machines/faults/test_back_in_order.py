"""Clearing the last fault that stops play ends that a cabinet is out of order, as a step of its life."""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from django.urls import reverse

from machines.cabinets.actions import change_status
from machines.faults.actions import fix_fault, report_fault
from machines.labels.actions import label_for
from machines.models import StatusChange
from tests.factories import PlacementFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def machine(owner, noon):
    """It stands somewhere and is out of order since noon."""
    made = PlacementFactory().machine
    change_status(machine=made, status="placed", by=owner, at=noon - timedelta(days=9), received_at=noon)
    change_status(machine=made, status="out_of_order", by=owner, at=noon, received_at=noon)
    return made


def broken(machine, person, at, **said):
    first = {"uuid": uuid4(), "via": "host", "text": "Dark", "stops_play": True}
    return report_fault(machine=machine, by=person, at=at, received_at=at, **first | said)


def fix(fault, person, at):
    return fix_fault(fault=fault, how="New fuse", by=person, at=at, received_at=at)


def life(machine):
    return list(StatusChange.objects.live().filter(machine=machine).order_by("at").values_list("status", "note"))[1:]


def test_last_fault_that_stops_play_lifts_it_with_person_and_time(machine, owner, route_hand, noon):
    first, second = (broken(machine, owner, noon, text=text) for text in ("Dark", "Jammed"))
    at = noon + timedelta(hours=3)
    fix(first, owner, noon + timedelta(hours=2))
    assert life(machine) == [("out_of_order", "")]

    for _ in range(2):
        fix(second, route_hand, at)

    machine.refresh_from_db()
    assert (machine.status, life(machine)) == ("placed", [("out_of_order", ""), ("placed", "Fixed: Jammed")])
    step = StatusChange.objects.get(note="Fixed: Jammed")
    assert (step.by, step.at) == (route_hand, at)


def test_what_came_after_the_fix_does_not_keep_it_out_of_order_before(machine, owner, noon):
    first = broken(machine, owner, noon)
    broken(machine, owner, noon + timedelta(days=4), text="Jammed")
    fix(first, owner, noon + timedelta(hours=1))  # told by a phone that was late, or by a correction
    assert life(machine) == [("out_of_order", ""), ("placed", "Fixed: Dark")]


def test_other_faults_lift_nothing(machine, owner, noon):
    fix(broken(machine, owner, noon, stops_play=False), owner, noon + timedelta(hours=1))
    assert life(machine) == [("out_of_order", "")]


def test_what_went_out_of_order_after_the_fix_stays_so(machine, owner, noon):
    fix(broken(machine, owner, noon - timedelta(days=2)), owner, noon - timedelta(days=1))
    assert life(machine) == [("out_of_order", "")]


def test_cabinet_that_stands_nowhere_is_a_spare_again(machine, owner, noon):
    machine.placements.update(ended_at=noon, ended_by=owner)
    fix(broken(machine, owner, noon), owner, noon + timedelta(hours=1))
    assert life(machine)[-1] == ("spare", "Fixed: Dark")


def test_page_says_that_it_is_in_order_with_this(machine, owner_client, owner, noon):
    faults = [broken(machine, owner, noon, text=text) for text in ("Dark", "Jammed")]
    said = f"{machine.code} is out of order. Nothing else known stops play, so it is in order again with this."

    def told(fault):
        return said in owner_client.get(reverse("fault-fix", args=[fault.pk])).text

    assert [told(one) for one in faults] == [False, False]
    owner_client.post(reverse("fault-fix", args=[faults[0].pk]), {"how": "New fuse"})
    assert told(faults[1])
    owner_client.post(reverse("fault-fix", args=[faults[1].pk]), {"how": "Cleared"})
    machine.refresh_from_db()
    assert machine.status == "placed"


def test_report_from_the_label_may_say_that_nobody_can_play(client, owner, machine, noon):
    label = label_for(machine=machine, by=owner, at=noon)
    sent = {"uuid": str(UUID(int=5)), "about": "lost_money", "text": "Swallowed it", "stops_play": "on"}
    client.post(reverse("label-page", args=[label.code]), sent)
    client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(reverse("faults")).context["stopped"] == 1
    assert "A player reports that nobody can play" in client.get(reverse("faults")).text
