"""Placements: a cabinet stands in one place at a time, whatever anybody types and whatever code forgets to check."""

import uuid
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from locations.models import Placement
from locations.placements import actions, queries
from machines.models import Machine, StatusChange
from routeapp.kit.errors import Refused
from tests.factories import LocationFactory, MachineFactory, PlacementFactory


def june(day, hour=12):
    return datetime(2026, 6, day, hour, tzinfo=UTC)


@pytest.fixture
def claw(db):
    return MachineFactory(code="C-007")


@pytest.fixture
def mill(db):
    return LocationFactory(name="Mill Lane", time_zone="America/New_York")


@pytest.fixture
def start(owner, claw, mill):
    def begin(at, **changed):
        facts = {"uuid": uuid.uuid4(), "machine": claw, "location": mill, "by": owner, "received_at": june(30)}
        return actions.start_placement(at=at, **facts | changed)

    return begin


@pytest.fixture
def end(owner):
    def finish(placement, at, **changed):
        facts = {"because": "swapped", "by": owner, "received_at": june(30)}
        return actions.end_placement(placement=placement, at=at, **facts | changed)

    return finish


def test_started_placement_makes_the_cabinet_placed(start, claw, mill, owner):
    placement = start(june(1), spot="left of the door")
    claw.refresh_from_db()
    assert (claw.status, placement.spot, placement.started_by) == ("placed", "left of the door", owner)
    assert (claw.status_changes.get().at, claw.status_changes.get().source) == (june(1), placement.uuid)


def test_ended_placement_hands_the_cabinet_on(start, end, claw):
    placement = end(start(june(1)), june(5), next_status="out_of_order")
    claw.refresh_from_db()
    assert (claw.status, placement.ended_at, placement.ended_because) == ("out_of_order", june(5), "swapped")


def test_same_document_again_changes_nothing(start, claw):
    first = start(june(1))
    assert start(june(1), uuid=first.uuid) == first
    assert (Placement.objects.count(), claw.status_changes.count()) == (1, 1)


def test_same_document_for_another_place_is_refused(start):
    first = start(june(1))
    with pytest.raises(Refused, match="sent before, for C-007 at Mill Lane"):
        start(june(1), uuid=first.uuid, location=LocationFactory())


def test_same_end_again_changes_nothing_and_another_end_is_refused(start, end, claw):
    placement = end(start(june(1)), june(5))
    end(placement, june(5))
    assert claw.status_changes.count() == 2
    with pytest.raises(Refused, match="left Mill Lane already, on 5 Jun 2026, 08:00"):
        end(placement, june(6))


@pytest.mark.parametrize("at", [june(1, 11), june(1), june(8)])
def test_cabinet_that_stands_elsewhere_is_refused(start, at):
    start(june(1))
    with pytest.raises(Refused, match="C-007 stands at Mill Lane since 1 Jun 2026, 08:00") as refusal:
        start(at, location=LocationFactory())
    assert refusal.value.field == "at"


def test_cabinet_cannot_come_before_it_left_the_place_before(start, end):
    end(start(june(1)), june(5))
    with pytest.raises(Refused, match="stood at Mill Lane until 5 Jun 2026, 08:00"):
        start(june(4))
    assert start(june(5)).started_at == june(5)


@pytest.mark.parametrize("status", ["ordered", "arrived", "bench", "out_of_order", "sold", "scrapped"])
def test_cabinet_that_is_not_ready_is_refused(start, claw, status):
    Machine.objects.filter(pk=claw.pk).update(status=status)
    with pytest.raises(Refused, match="C-007 (is|has)") as refusal:
        start(june(1))
    assert refusal.value.field == "machine"
    assert Placement.objects.count() == 0


@pytest.mark.parametrize("status", ["ready", "spare"])
def test_cabinet_that_is_ready_can_be_placed(start, claw, status):
    Machine.objects.filter(pk=claw.pk).update(status=status)
    start(june(1))
    claw.refresh_from_db()
    assert claw.status == "placed"


def test_closed_location_is_refused(start):
    with pytest.raises(Refused, match="is closed") as refusal:
        start(june(1), location=LocationFactory(closed_on=date(2026, 5, 1)))
    assert refusal.value.field == "location"


@pytest.mark.parametrize("at", [june(30) + timedelta(minutes=6), datetime(1999, 12, 31, tzinfo=UTC)])
def test_moments_that_cannot_be_are_refused(start, at):
    with pytest.raises(Refused) as refusal:
        start(at)
    assert refusal.value.field == "at"


@pytest.mark.parametrize("at", [june(1), june(1, 11), june(30) + timedelta(minutes=6)])
def test_end_before_the_start_or_still_to_come_is_refused(start, end, at):
    placement = start(june(1))
    with pytest.raises(Refused) as refusal:
        end(placement, at)
    assert refusal.value.field == "at"


def test_cabinet_entered_after_it_was_placed_still_counts_as_placed(start, end, claw, owner):
    StatusChange.objects.create(machine=claw, status="ready", at=june(20), by=owner, received_at=june(20))
    placement = start(june(1))
    claw.refresh_from_db()
    assert claw.status == "placed"
    end(placement, june(10))
    claw.refresh_from_db()
    assert claw.status == "spare"


def test_where_a_cabinet_stood_is_answered_for_every_moment(start, end, claw, mill):
    other = LocationFactory()
    first = end(start(june(1)), june(5))
    second = start(june(8), location=other)
    moments = [june(1, 11), june(1), june(5, 11), june(5), june(8), june(20)]
    assert [queries.placement_of(claw, at) for at in moments] == [None, first, first, None, second, second]
    assert list(queries.placed_at(mill, june(2))) == [first]
    assert (list(queries.placed_at(mill)), list(queries.placed_at(other))) == ([], [second])


def test_stays_of_many_cabinets_come_sorted_in_one_query(start, end, claw):
    first = end(start(june(1)), june(5))
    second, third = start(june(8)), start(june(2), machine=MachineFactory())
    with CaptureQueriesContext(connection) as captured:
        found = queries.placements_of([claw.pk, third.machine_id])
    assert len(captured) == 1
    assert found == {claw.pk: [first, second], third.machine_id: [third]}


def test_free_cabinets_are_those_that_stand_nowhere_and_are_ready(start, claw):
    spare, broken = MachineFactory(status="spare"), MachineFactory(status="out_of_order")
    assert set(queries.free_cabinets()) == {claw, spare}
    start(june(1))
    assert set(queries.free_cabinets()) == {spare}
    assert queries.hindrance_now(spare) == ""
    assert queries.hindrance_now(claw) == "C-007 stands at Mill Lane. End that placement first."
    assert queries.hindrance_now(broken) == f"{broken} is out of order. Change its status first."


# What follows goes around the actions on purpose: the database itself must hold the rule.

TAKEN = (june(10), june(20))
OVERLAPPING = [
    (june(5), june(11)),
    (june(19), june(25)),
    (june(12), june(15)),
    (june(5), june(25)),
    (june(10), june(20)),
    (june(5), None),
    (june(15), None),
]
FREE = [(june(5), june(10)), (june(20), june(25)), (june(20), None), (june(1), june(2))]


def stay(machine, person, started_at, ended_at):
    ended_by = person if ended_at else None
    return PlacementFactory(machine=machine, started_at=started_at, ended_at=ended_at, ended_by=ended_by)


@pytest.mark.parametrize(("started_at", "ended_at"), OVERLAPPING)
def test_database_refuses_a_second_place_at_the_same_time(claw, owner, started_at, ended_at):
    stay(claw, owner, *TAKEN)
    with pytest.raises(IntegrityError, match="placement_no_overlap"), transaction.atomic():
        stay(claw, owner, started_at, ended_at)


@pytest.mark.parametrize(("started_at", "ended_at"), OVERLAPPING)
def test_database_refuses_a_stay_moved_onto_another(claw, owner, started_at, ended_at):
    stay(claw, owner, *TAKEN)
    moved = Placement.objects.filter(pk=stay(claw, owner, june(1), june(2)).pk)
    with pytest.raises(IntegrityError, match="placement_no_overlap"), transaction.atomic():
        moved.update(started_at=started_at, ended_at=ended_at, ended_by=owner if ended_at else None)


def test_database_refuses_a_stay_handed_to_a_cabinet_that_stands_elsewhere(claw, owner):
    stay(claw, owner, *TAKEN)
    other = stay(MachineFactory(), owner, *TAKEN)
    with pytest.raises(IntegrityError, match="placement_no_overlap"), transaction.atomic():
        Placement.objects.filter(pk=other.pk).update(machine=claw)


@pytest.mark.parametrize(("started_at", "ended_at"), FREE)
def test_database_takes_stays_one_after_the_other(claw, owner, started_at, ended_at):
    stay(claw, owner, *TAKEN)
    stay(claw, owner, started_at, ended_at)
    assert claw.placements.count() == 2


def test_database_takes_two_cabinets_at_the_same_time_and_a_stay_made_shorter(claw, owner):
    stay(MachineFactory(), owner, *TAKEN)
    own = stay(claw, owner, *TAKEN)
    assert Placement.objects.filter(pk=own.pk).update(ended_at=june(15)) == 1


def test_means_against_overlaps_are_there_after_all_migrations(db):
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT conname FROM pg_constraint WHERE contype = 'x'")
        else:
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        found = {name for (name,) in cursor.fetchall()}
    wanted = {
        "postgresql": {"placement_no_overlap"},
        "sqlite": {"placement_no_overlap_insert", "placement_no_overlap_update"},
    }
    assert found >= wanted[connection.vendor]


def test_database_holds_one_open_placement_per_cabinet(claw, owner):
    stay(claw, owner, june(1), None)
    with pytest.raises(IntegrityError), transaction.atomic():
        stay(claw, owner, june(5), None)


@pytest.mark.parametrize("ended_at", [june(1), june(1, 11)])
def test_database_refuses_a_stay_that_ends_before_it_starts(claw, owner, ended_at):
    with pytest.raises(IntegrityError, match="placement_ends_after_it_starts"), transaction.atomic():
        stay(claw, owner, june(1), ended_at)


def test_database_wants_to_know_who_ended_a_stay(claw):
    with pytest.raises(IntegrityError, match="placement_end_has_who_and_when"), transaction.atomic():
        PlacementFactory(machine=claw, ended_at=june(1), ended_by=None)


def test_list_of_placements_tells_who_stood_where_and_asks_no_more_for_three(owner_client, owner, noon):
    def asked():
        with CaptureQueriesContext(connection) as captured:
            rows = owner_client.get(reverse("placements")).context["table"].rows
        return len(captured), [str(row.machine) for row in rows]

    first = PlacementFactory(started_at=noon)
    owner_client.get(reverse("placements"))
    one = asked()
    later = [PlacementFactory(started_at=noon + timedelta(days=day)) for day in (1, 2)]
    assert one[1] == [str(first.machine)]
    assert asked() == (one[0], [str(stay.machine) for stay in [*reversed(later), first]])
