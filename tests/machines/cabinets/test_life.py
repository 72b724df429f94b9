"""A cabinet's status and settings through time: typed on pages, and brought by documents in any order."""

import itertools
from datetime import timedelta
from uuid import UUID

import pytest
from django.urls import reverse

from machines.cabinets import actions, queries
from machines.cabinets.queries import CurrentSettings
from machines.models import Machine, SettingsChange, StatusChange
from routeapp.kit.errors import Refused
from tests.factories import MachineFactory, PlacementFactory
from tests.machines.counting import queries_of


@pytest.fixture
def machine(db):
    return MachineFactory(code="C-001")


def hours(noon, number):
    return noon + timedelta(hours=number)


def test_status_repeats_the_newest_step_whatever_arrives_last(machine, owner, noon):
    for at, status in [(2, "ready"), (1, "bench"), (3, "out_of_order"), (0, "arrived")]:
        actions.change_status(machine=machine, status=status, by=owner, at=hours(noon, at), received_at=hours(noon, 9))
    assert Machine.objects.get().status == "out_of_order"
    assert [step.status for step in queries.status_history(machine)] == ["out_of_order", "ready", "bench", "arrived"]


def test_withdrawn_step_counts_for_nothing(machine, owner, noon):
    document = UUID(int=7)
    said = {"by": owner, "received_at": noon}
    actions.change_status(machine=machine, status="sold", at=hours(noon, 5), source=document, **said)
    StatusChange.objects.withdraw(sources=[document], by=owner, at=noon)
    actions.change_status(machine=machine, status="bench", at=noon, **said)
    assert Machine.objects.get().status == "bench"


def test_status_is_changed_on_its_page(hand_client, machine):
    sent = {"status": "out_of_order", "note": "Glass cracked", "at": "2026-06-01T10:00"}
    assert hand_client.post(reverse("cabinet-status", args=["C-001"]), sent).status_code == 302
    step = StatusChange.objects.get()
    assert (step.status, step.note, step.at.isoformat()) == (
        "out_of_order",
        "Glass cracked",
        "2026-06-01T10:00:00+00:00",
    )


@pytest.mark.parametrize("status", ["spare", "ready", "bench", "sold", "scrapped"])
def test_cabinet_that_stands_somewhere_is_taken_away_first(hand_client, machine, status):
    PlacementFactory(machine=machine, location__name="Pier Café")
    page = hand_client.post(reverse("cabinet-status", args=["C-001"]), {"status": status, "at": "2026-06-01T10:00"})
    assert page.context["form"].errors["status"] == [
        "C-001 stands at Pier Café. End that placement first; it asks what the cabinet is from then on."
    ]
    assert not StatusChange.objects.exists()


def test_cabinet_that_stands_nowhere_is_not_placed_by_hand(hand_client, machine):
    page = hand_client.post(reverse("cabinet-status", args=["C-001"]), {"status": "placed", "at": "2026-06-01T10:00"})
    assert page.context["form"].errors["status"] == [
        "C-001 stands nowhere. Assign it to a location; that makes it placed."
    ]
    assert not StatusChange.objects.exists()


def test_cabinet_out_of_order_where_it_stands_is_placed_again(hand_client, machine):
    PlacementFactory(machine=machine)
    for status, hour in (("out_of_order", 10), ("placed", 11)):
        sent = {"status": status, "at": f"2026-06-01T{hour}:00"}
        assert hand_client.post(reverse("cabinet-status", args=["C-001"]), sent).status_code == 302
    assert Machine.objects.get().status == "placed"


def test_status_typed_in_the_minute_of_the_last_step_comes_after_it(hand_client, machine, owner, noon):
    just_before = noon + timedelta(seconds=40)
    actions.change_status(machine=machine, status="ready", by=owner, at=just_before, received_at=just_before)
    hand_client.post(reverse("cabinet-status", args=["C-001"]), {"status": "bench", "at": "2026-06-01T12:00"})
    assert Machine.objects.get().status == "bench"


def test_status_sent_twice_is_one_step(hand_client, machine):
    sent = {"status": "bench", "note": "", "at": "2026-06-01T10:00"}
    for _ in range(2):
        hand_client.post(reverse("cabinet-status", args=["C-001"]), sent)
    assert StatusChange.objects.count() == 1


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"status": "flying"}, "status"),
        ({"status": ""}, "status"),
        ({"at": ""}, "at"),
        ({"at": "yesterday"}, "at"),
        ({"at": "2999-01-01T10:00"}, "at"),
        ({"at": "0001-01-01T00:00"}, "at"),
        ({"at": "9999-12-31T23:59"}, "at"),
        ({"note": "x" * 201}, "note"),
        ({"note": "a\x00"}, "note"),
    ],
)
def test_status_that_makes_no_sense_is_refused(hand_client, machine, changed, field):
    sent = {"status": "bench", "at": "2026-06-01T10:00"} | changed
    response = hand_client.post(reverse("cabinet-status", args=["C-001"]), sent)
    assert response.status_code == 422
    assert list(response.context["form"].errors) == [field]


def test_settings_are_the_latest_value_of_each(machine, owner, noon):
    change = {"machine": machine, "by": owner, "received_at": noon}
    actions.change_settings(**change, grip_strength=40, payout_target=12, at=noon)
    actions.change_settings(**change, grip_strength=0, at=hours(noon, 2))
    actions.change_settings(**change, payout_target=9, play_seconds=25, at=hours(noon, 1))
    assert queries.current_settings(machine) == CurrentSettings(0, 9, 25, None, hours(noon, 2))


def test_settings_nobody_noted_are_unknown(machine):
    assert queries.current_settings(machine) == CurrentSettings()


def test_settings_of_withdrawn_documents_are_forgotten(machine, owner, noon):
    change = {"machine": machine, "by": owner, "received_at": noon}
    actions.change_settings(**change, grip_strength=40, at=noon)
    actions.change_settings(**change, grip_strength=90, at=hours(noon, 1), source=UUID(int=1))
    SettingsChange.objects.withdraw(sources=[UUID(int=1)], by=owner, at=noon)
    assert queries.current_settings(machine).grip_strength == 40


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_settings_of_one_moment_do_not_depend_on_arrival(machine, owner, noon, order):
    for number in order:
        actions.change_settings(
            machine=machine, grip_strength=number, by=owner, at=noon, received_at=noon, source=UUID(int=number)
        )
    assert queries.current_settings(machine).grip_strength == 2


def test_settings_of_many_cabinets_take_one_query(owner, noon, django_assert_num_queries):
    machines = [MachineFactory() for _ in range(3)]
    for machine in machines:
        actions.change_settings(machine=machine, grip_strength=machine.pk % 100, by=owner, at=noon, received_at=noon)
    with django_assert_num_queries(1):
        found = queries.settings_of(machines)
    assert {pk: each.grip_strength for pk, each in found.items()} == {one.pk: one.pk % 100 for one in machines}


def test_settings_page_keeps_only_what_was_changed(hand_client, machine, owner, noon):
    said = {"by": owner, "at": noon, "received_at": noon}
    actions.change_settings(machine=machine, grip_strength=40, payout_target=12, **said)
    page = hand_client.get(reverse("cabinet-settings", args=["C-001"]))
    assert page.context["form"]["grip_strength"].value() == 40
    sent = {"grip_strength": "45", "payout_target": "12", "play_seconds": "", "at": "2026-06-02T10:00"}
    hand_client.post(reverse("cabinet-settings", args=["C-001"]), sent)
    newest = queries.settings_history(machine)[0]
    assert (newest.grip_strength, newest.payout_target, newest.play_seconds) == (45, None, None)


def test_settings_page_with_nothing_changed_says_so(hand_client, machine):
    response = hand_client.post(reverse("cabinet-settings", args=["C-001"]), {"at": "2026-06-02T10:00"})
    assert response.context["form"].non_field_errors() == ["Nothing was changed: every value is as it was."]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("grip_strength", "101"),
        ("grip_strength", "-1"),
        ("grip_strength", "strong"),
        ("payout_target", "0"),
        ("play_seconds", "9" * 30),
        ("credits_per_coin", "1.5"),
    ],
)
def test_setting_that_makes_no_sense_is_refused(hand_client, machine, field, value):
    sent = {field: value, "at": "2026-06-02T10:00"}
    response = hand_client.post(reverse("cabinet-settings", args=["C-001"]), sent)
    assert response.status_code == 422
    assert list(response.context["form"].errors) == [field]


def test_grip_above_100_is_refused_by_the_action_too(machine, owner, noon):
    with pytest.raises(Refused, match="100 at most"):
        actions.change_settings(machine=machine, grip_strength=101, by=owner, at=noon, received_at=noon)


@pytest.mark.parametrize("name", ["cabinet-status", "cabinet-settings"])
def test_history_asks_the_database_no_more_for_3_than_for_1(hand_client, machine, owner, noon, name):
    def step(number):
        said = {"machine": machine, "by": owner, "at": hours(noon, number), "received_at": noon}
        actions.change_status(status="bench", note=str(number), **said)
        actions.change_settings(grip_strength=number, **said)

    step(1)
    one = queries_of(hand_client, reverse(name, args=["C-001"]))
    step(2)
    step(3)
    assert queries_of(hand_client, reverse(name, args=["C-001"])) == one
