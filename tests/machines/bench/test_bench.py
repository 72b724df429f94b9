"""The bench page: what is written down there decides whether a cabinet may be placed."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from locations.placements.queries import free_cabinets, hindrance_now
from machines.bench.models import BenchTest, LetGo
from machines.bench.queries import lacks_proof
from machines.cabinets.actions import change_settings, change_status
from machines.cabinets.models import Machine
from tests import factories
from tests.machines.counting import queries_of

pytestmark = pytest.mark.django_db
LACKS = "C-7 has not passed its bench test. Test it, or sign on its bench page why it goes out without."


@pytest.fixture
def claw(owner, noon):
    """A cabinet that came an hour before noon; two lines to try."""
    model = factories.CabinetModelFactory(bench_checks="Claw closes\nLights work\nClaw closes")
    machine = factories.MachineFactory(code="C-7", model=model)
    at = noon - timedelta(hours=1)
    change_status(machine=machine, status="arrived", by=owner, at=at, received_at=at)
    return machine


def filled(page, **changed):
    """The form as it stands on the page, with every line tried and fine."""
    form = page.context["form"]
    checks = {field.name: "fine" for field in form.check_fields()}
    return {
        "uuid": uuid4(), "starts": "yes", "plays": "20", "wins": "4", "labelled": "on", "coin0_cents": "1.00",
        "coin0_tried": "10", "coin0_taken": "10", **checks, **changed,
    }  # fmt: skip


def tried(client, **changed):
    address = reverse("bench", args=["C-7"])
    return client.post(address, filled(client.get(address), **changed))


def test_a_cabinet_that_came_cannot_be_placed_before_it_passed(hand_client, claw):
    assert (lacks_proof(claw), list(free_cabinets())) == (LACKS, [])
    tried(hand_client)
    claw.refresh_from_db()
    assert (claw.status, lacks_proof(claw), list(free_cabinets())) == ("ready", "", [claw])


def test_a_cabinet_set_to_ready_by_hand_has_still_not_passed(owner, claw, noon):
    change_status(machine=claw, status="ready", by=owner, at=noon, received_at=noon)
    assert (hindrance_now(claw), list(free_cabinets())) == (LACKS, [])


def test_a_cabinet_that_was_added_as_working_needs_no_test(owner, noon):
    machine = factories.MachineFactory()
    change_status(machine=machine, status="spare", by=owner, at=noon, received_at=noon)
    assert (lacks_proof(machine), list(free_cabinets())) == ("", [machine])


def test_a_cabinet_that_was_placed_since_is_in_service(owner, claw, noon):
    for status in ("placed", "spare"):
        noon += timedelta(minutes=1)
        change_status(machine=claw, status=status, by=owner, at=noon, received_at=noon, source=uuid4())
    assert lacks_proof(claw) == ""


def test_a_cabinet_that_goes_back_to_the_bench_must_pass_again(hand_client, owner, claw):
    tried(hand_client)
    later = BenchTest.objects.get().at + timedelta(minutes=1)
    change_status(machine=claw, status="bench", by=owner, at=later, received_at=later)
    assert lacks_proof(claw) == LACKS


def test_a_test_that_is_not_passed_says_why_and_puts_it_on_the_bench(hand_client, claw):
    tried(hand_client, coin0_taken="8", labelled="")
    page = hand_client.get(reverse("bench", args=["C-7"]))
    assert Machine.objects.get().status == "bench"
    assert page.context["tests"][0].wrong() == [
        "2 of the coins and notes put in came back.",
        "The label is not on it yet.",
    ]


def test_lines_of_the_model_are_asked_once_each(hand_client, claw):
    page = hand_client.get(reverse("bench", args=["C-7"]))
    assert [field.label for field in page.context["form"].check_fields()] == ["Claw closes", "Lights work"]


def test_test_plays_are_told_with_their_interval_and_the_target(hand_client, owner, claw, noon):
    change_settings(machine=claw, payout_target=15, by=owner, at=noon, received_at=noon)
    tried(hand_client, plays="20", wins="4")
    told = hand_client.get(reverse("bench", args=["C-7"])).context["tests"][0]
    assert told.payout() == (
        "4 won in 20: with 95 % certainty the truth is between 1 in 2.3 and 1 in 17. "
        "The target of 1 in 15 lies within that."
    )


def test_the_same_form_twice_is_one_test(hand_client, claw):
    again = uuid4()
    for _ in range(2):
        tried(hand_client, uuid=again)
    assert BenchTest.objects.count() == 1


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"wins": "21"}, "wins", "There cannot be more prizes than plays."),
        ({"coin0_taken": "11"}, "coin0_taken", "More were taken than were put in."),
        ({"coin1_tried": "3"}, "coin1_cents", "Say what the coin or note is worth."),
        (
            {"coin1_cents": "1", "coin1_tried": "3"},
            "coin1_cents",
            "$1.00 stands here twice. Add them up.",
        ),
        ({"starts": ""}, "starts", "This field is required."),
    ],
)
def test_what_does_not_fit_together_is_refused_with_words(hand_client, claw, changed, field, words):
    answer = tried(hand_client, **changed)
    assert (answer.status_code, answer.context["form"].errors[field]) == (422, [words])
    assert BenchTest.objects.count() == 0


def test_a_signed_reason_lets_it_go_without(hand_client, route_hand, claw):
    address = reverse("bench-let-go", args=["C-7"])
    hand_client.post(address, {"uuid": uuid4(), "reason": "Only a loan for the harbour fair"})
    signed = LetGo.objects.get()
    assert (signed.reason, signed.by, lacks_proof(claw)) == ("Only a loan for the harbour fair", route_hand, "")
    assert Machine.objects.get().status == "ready"


def test_a_reason_of_nothing_is_refused(hand_client, claw):
    answer = hand_client.post(reverse("bench-let-go", args=["C-7"]), {"uuid": uuid4(), "reason": "  "})
    assert (answer.status_code, LetGo.objects.count()) == (422, 0)


def test_a_scrapped_cabinet_is_not_tested(hand_client, owner, claw, noon):
    change_status(machine=claw, status="scrapped", by=owner, at=noon, received_at=noon)
    answer = tried(hand_client)
    assert answer.context["form"].non_field_errors() == ["C-7 is scrapped. Change its status first."]


def test_a_placed_cabinet_that_fails_stays_placed(hand_client, owner, claw, noon):
    factories.PlacementFactory(machine=claw)
    change_status(machine=claw, status="placed", by=owner, at=noon, received_at=noon)
    tried(hand_client, starts="no")
    assert Machine.objects.get().status == "placed"


def test_the_page_asks_as_often_for_three_tests_as_for_one(hand_client, claw):
    address = reverse("bench", args=["C-7"])
    tried(hand_client)
    one = queries_of(hand_client, address)
    for _ in range(2):
        tried(hand_client)
    assert queries_of(hand_client, address) == one


BASE = {"starts": "yes", "labelled": True, "passed": False}


@pytest.mark.parametrize(
    ("name", "make"),
    [
        (
            "bench_test_wins_of_its_plays",
            lambda test, facts: BenchTest.objects.create(plays=1, wins=2, **BASE, **facts),
        ),
        ("bench_coin_taken_of_those_tried", lambda test, facts: test.coins.create(cents=25, tried=1, taken=2)),
        ("bench_coin_once_per_worth", lambda test, facts: [test.coins.create(cents=5, tried=1, taken=1) for _ in "ab"]),
        ("let_go_has_a_reason", lambda test, facts: LetGo.objects.create(reason="", **facts)),
    ],
)
def test_the_database_refuses(claw, owner, noon, name, make):
    facts = {"machine": claw, "by": owner, "at": noon, "received_at": noon}
    test = BenchTest.objects.create(uuid=uuid4(), **BASE, **facts)
    with pytest.raises(IntegrityError, match=f"{name}|benchcoin.test_id"), transaction.atomic():
        make(test, {"uuid": uuid4(), **facts})
