"""Spare parts only move; who holds which key is said once and stays readable."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from machines.faults.actions import report_fault
from machines.parts import actions, actions_keys, queries
from machines.parts.models import Key, KeyMove, Lock, Part, PartMove, PartPlace
from routeapp.kit.errors import Refused
from tests import factories
from tests.machines.counting import queries_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def said(owner, noon):
    return {"by": owner, "at": noon}


@pytest.fixture
def coil(said):
    return actions.save_part(part=None, name="Claw coil", low_at=2, **said)


@pytest.fixture
def shelf(coil):
    return PartPlace.objects.get()


@pytest.fixture
def stocked(coil, shelf, said, noon):
    """Three coils came."""
    actions.move_part(uuid=uuid4(), part=coil, pieces=3, to_place=shelf, outside="supplier", received_at=noon, **said)
    return coil


def move(client, part, shelf, **changed):
    said = {"uuid": uuid4(), "happened": "came", "pieces": "2", "place": shelf.pk}
    return client.post(reverse("part", args=[part.pk]), said | changed)


def test_what_comes_lies_on_the_shelf(hand_client, coil, shelf):
    move(hand_client, coil, shelf)
    assert (queries.lies(coil), queries.parts().get().on_hand) == ({shelf: 2}, 2)


def test_carrying_changes_the_place_and_not_the_number(hand_client, stocked, shelf, said):
    van = actions.add_shelf(name="Van", **said)
    move(hand_client, stocked, shelf, happened="carried", to_place=van.pk)
    assert (queries.lies(stocked), queries.parts().get().on_hand) == ({shelf: 1, van: 2}, 3)


def test_no_more_leaves_a_shelf_than_lies_there(hand_client, stocked, shelf):
    answer = move(hand_client, stocked, shelf, happened="used", pieces="4")
    assert answer.context["form"].errors["pieces"] == [
        "Only 3 lie in Parts shelf by the books. Count them and note what was found."
    ]
    assert queries.lies(stocked) == {shelf: 3}


def test_the_same_move_twice_is_one(hand_client, coil, shelf):
    again = uuid4()
    for _ in range(2):
        move(hand_client, coil, shelf, uuid=again)
    assert PartMove.objects.count() == 1


def test_carried_nowhere_is_refused_with_words(hand_client, stocked, shelf):
    answer = move(hand_client, stocked, shelf, happened="carried")
    assert answer.context["form"].errors["to_place"] == ["Say where they were carried to."]


def test_a_part_is_used_on_a_fault_of_a_cabinet_it_fits(hand_client, owner, noon, stocked, shelf, said):
    machine = factories.MachineFactory()
    other = factories.CabinetModelFactory(name="Tower")
    stranger = actions.save_part(part=None, name="Tower belt", fits=[other], **said)
    when = {"by": owner, "at": noon, "received_at": noon}
    fault = report_fault(uuid=uuid4(), machine=machine, text="Claw hangs", via="office", **when)
    address = reverse("fault-parts", args=[fault.pk])
    assert stranger not in hand_client.get(address).context["form"].fields["part"].queryset
    hand_client.post(address, {"uuid": uuid4(), "part": stocked.pk, "pieces": "1", "from_place": shelf.pk})
    used = queries.used_on(fault).get()
    assert (used.part, used.machine, queries.lies(stocked)) == (stocked, machine, {shelf: 2})


def test_a_part_below_its_mark_asks_for_more(hand_client, coil):
    page = hand_client.get(reverse("parts")).content.decode()
    assert page.count("Order more") == 1


@pytest.fixture
def lock(said):
    lock = actions_keys.save_lock(
        held=None, name="Cash box", number="H204", machines=[factories.MachineFactory()], **said
    )
    actions_keys.add_copies(uuid=uuid4(), of=lock, copies=2, **said)
    return lock


def counts(lock):
    found = queries.locks().get(pk=lock.pk)
    return found.copies, found.lost, found.ordered


def test_a_key_is_handed_to_a_person(hand_client, route_hand, lock):
    key = lock.keys.get(tag=1)
    hand_client.post(
        reverse("key-hand-over", args=[key.pk]), {"uuid": uuid4(), "held": "person", "person": route_hand.pk}
    )
    copies = queries.copies_of([lock])[lock.pk]
    assert [(copy.key.tag, copy.move.held, copy.move.person) for copy in copies] == [
        (1, "person", route_hand),
        (2, "safe", None),
    ]


def test_a_lost_key_is_no_copy_any_more(hand_client, lock):
    hand_client.post(reverse("key-hand-over", args=[lock.keys.get(tag=1).pk]), {"uuid": uuid4(), "held": "lost"})
    assert counts(lock) == (1, 1, 0)


def test_ordered_copies_count_once_they_came(hand_client, lock):
    hand_client.post(reverse("key-lock", args=[lock.pk]), {"uuid": uuid4(), "copies": "1", "held": "ordered"})
    assert counts(lock) == (2, 0, 1)
    hand_client.post(reverse("key-hand-over", args=[lock.keys.get(tag=3).pk]), {"uuid": uuid4(), "held": "safe"})
    assert counts(lock) == (3, 0, 0)


def test_somebody_has_it_needs_a_name(hand_client, lock):
    answer = hand_client.post(
        reverse("key-hand-over", args=[lock.keys.first().pk]), {"uuid": uuid4(), "held": "person"}
    )
    assert answer.context["form"].errors["person"] == ["Say who has it."]


def test_the_same_copies_twice_are_added_once(lock, said):
    again = uuid4()
    for _ in range(2):
        actions_keys.add_copies(uuid=again, of=lock, copies=1, **said)
    assert counts(lock) == (3, 0, 0)


def test_more_copies_than_anybody_cuts_are_refused(lock, said):
    with pytest.raises(Refused, match="more than 50 copies"):
        actions_keys.add_copies(uuid=uuid4(), of=lock, copies=49, **said)


@pytest.mark.parametrize("name", ["parts", "keys"])
def test_lists_ask_as_often_for_three_as_for_one(hand_client, said, name):
    def add(number):
        actions.save_part(part=None, name=f"Part {number}", **said)
        actions_keys.save_lock(held=None, name=f"Lock {number}", machines=[factories.MachineFactory()], **said)

    add(1)
    one = queries_of(hand_client, reverse(name))
    add(2)
    add(3)
    assert queries_of(hand_client, reverse(name)) == one


def test_the_database_refuses(coil, shelf, lock, route_hand, said, noon):
    facts = {"uuid": uuid4(), "received_at": noon, **said}
    used = PartPlace.objects.create(kind="cabinets", name="Used")
    for name, make in [
        ("part_move_above_zero", lambda: PartMove(part=coil, pieces=0, from_place=shelf, to_place=used, **facts)),
        ("part_move_places_differ", lambda: PartMove(part=coil, pieces=1, from_place=shelf, to_place=shelf, **facts)),
        ("part_place_one_of_each_outside|machines_partplace.kind", lambda: PartPlace(kind="cabinets", name="Again")),
        ("key_tag_once_per_lock|machines_key.lock_id", lambda: Key(lock=lock, tag=1)),
        ("key_move_names_the_person_who_has_it", lambda: KeyMove(key=lock.keys.first(), held="person", **facts)),
    ]:
        with pytest.raises(IntegrityError, match=name), transaction.atomic():
            make().save()
    assert (Part.objects.count(), Lock.objects.count()) == (1, 1)


def test_what_came_says_what_it_cost_and_its_use_costs_the_average(hand_client, stocked, shelf, noon):
    claw = factories.MachineFactory()
    move(hand_client, stocked, shelf, cost_cents="9.00")  # two for 9.00; what the first three cost nobody said
    move(hand_client, stocked, shelf, pieces="1", cost_cents="6.00")
    move(hand_client, stocked, shelf, happened="used", pieces="2", machine=claw.pk, cost_cents="99")

    later = PartMove.objects.latest("pk").at
    used = queries.used(noon, later + timedelta(days=365)).get()

    assert (used.pieces, used.paid, used.bought, used.cost_cents) == (2, 1500, 3, None)


def test_lock_sent_twice_is_one(hand_client):
    machine = factories.MachineFactory()
    for _ in range(2):
        answer = hand_client.post(reverse("key-lock-add"), {"name": "Cash box", "number": "", "machines": [machine.pk]})
    assert (answer.status_code, Lock.objects.count()) == (302, 1)


def test_numbered_lock_sent_twice_is_one(hand_client):
    machine = factories.MachineFactory()
    for _ in range(2):
        answer = hand_client.post(reverse("key-lock-add"), {"name": "Door", "number": "7", "machines": [machine.pk]})
    assert (answer.status_code, Lock.objects.count()) == (302, 1)
