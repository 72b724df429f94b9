"""Faults reported, listed and fixed, through their pages and as visits bring them."""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from machines.faults import actions, queries
from machines.models import Fault, FaultFix
from routeapp.kit.errors import Refused
from tests.factories import MachineFactory
from tests.machines.counting import queries_of


@pytest.fixture
def machine(db):
    return MachineFactory(code="C-001")


@pytest.fixture
def report(machine, owner, noon):
    """Report a fault of C-001; what is not said is of no interest to the test."""

    def reported(text="The claw drops early", **said):
        first = {"uuid": uuid4(), "machine": machine, "via": "visit", "by": owner, "at": noon, "received_at": noon}
        return actions.report_fault(**first | {"text": text} | said)

    return reported


@pytest.fixture
def fix(owner, noon):
    def fixed(fault, how="New string", **said):
        first = {"by": owner, "at": noon + timedelta(hours=5), "received_at": noon}
        return actions.fix_fault(fault=fault, how=how, **first | said)

    return fixed


def texts(faults):
    return [fault.text for fault in faults]


def shown(client, **asked):
    return texts(client.get(reverse("faults"), asked).context["table"].rows)


def filled_in(**changed):
    return {"uuid": str(UUID(int=5)), "text": "Light is out", "via": "office", **changed}


def test_open_faults_that_stop_play_come_first_then_the_oldest(owner_client, report, noon):
    report("second", at=noon - timedelta(days=1))
    report("third")
    report("first", stops_play=True)
    assert shown(owner_client) == ["first", "second", "third"]
    assert owner_client.get(reverse("faults")).context["stopped"] == 1


def test_worst_faults_are_the_first_of_those_that_are_open(report, fix, noon):
    report("second", at=noon - timedelta(days=1))
    report("third")
    fix(report("fixed", stops_play=True))
    report("first", stops_play=True)
    assert texts(queries.worst_faults(2)) == ["first", "second"]


def test_fixed_fault_is_listed_apart_with_what_was_done(owner_client, report, fix, noon):
    fix(report("mended"))
    report("open")
    assert shown(owner_client) == ["open"]
    assert shown(owner_client, show="fixed") == ["mended"]
    fault = queries.fixed_faults().get()
    assert (fault.fixed_how, fault.fixed_by, fault.fixed_at - fault.at) == ("New string", "Ines", timedelta(hours=5))


def test_fault_fixed_twice_was_fixed_the_first_time(report, fix, noon):
    fault = report()
    fix(fault, "later", at=noon + timedelta(days=2))
    fix(fault, "sooner", at=noon + timedelta(days=1))
    assert queries.fixed_faults().get().fixed_how == "sooner"


def test_faults_of_one_cabinet(report, machine):
    report("here")
    report("elsewhere", machine=MachineFactory())
    assert texts(queries.open_faults(machine)) == ["here"]


def test_same_report_again_changes_nothing(report):
    first = report("as first said", uuid=UUID(int=1))
    assert report("as first said", uuid=UUID(int=1)) == first
    with pytest.raises(Refused, match="sent before"):
        report("said otherwise", uuid=UUID(int=1))
    assert texts(Fault.objects.all()) == ["as first said"]


def test_withdrawn_report_and_withdrawn_fix_count_for_nothing(report, fix, owner, noon):
    report("withdrawn", source=UUID(int=1))
    fix(report("open again"), source=UUID(int=2))
    Fault.objects.withdraw(sources=[UUID(int=1)], by=owner, at=noon)
    FaultFix.objects.withdraw(sources=[UUID(int=2)], by=owner, at=noon)
    assert texts(queries.open_faults()) == ["open again"]


def test_corrected_report_keeps_its_id_and_what_fixed_it(report, fix, owner, noon):
    fix(report("as first written", uuid=UUID(int=9), source=UUID(int=1)))
    Fault.objects.withdraw(sources=[UUID(int=1)], by=owner, at=noon)
    report("as corrected", uuid=UUID(int=9), source=UUID(int=2))
    assert texts(queries.open_faults()) == []
    assert texts(queries.fixed_faults()) == ["as corrected"]


def test_correction_that_arrives_first_stays(report, owner, noon):
    report("as corrected", uuid=UUID(int=9), source=UUID(int=2))
    report("as first written", uuid=UUID(int=9), source=UUID(int=1))
    Fault.objects.withdraw(sources=[UUID(int=1)], by=owner, at=noon)
    assert texts(queries.open_faults()) == ["as corrected"]


def test_report_that_says_nothing_is_refused(report):
    with pytest.raises(Refused, match="what is wrong"):
        report("  ")


def test_fault_is_noted_on_its_page(hand_client, machine):
    sent = filled_in(stops_play="on", via="host", amount_cents="2", contact="Mara, 555 0100")
    response = hand_client.post(reverse("fault-add", args=["C-001"]), sent)
    assert response.url == reverse("cabinet", args=["C-001"])
    fault = Fault.objects.get()
    assert (fault.uuid, fault.machine, fault.by.username) == (UUID(int=5), machine, "tomas")
    assert (fault.text, fault.stops_play, fault.via, fault.about) == ("Light is out", True, "host", "lost_money")
    assert (fault.amount_cents, fault.contact) == (200, "Mara, 555 0100")


def test_fault_sent_twice_is_one(hand_client, machine):
    for _ in range(2):
        assert hand_client.post(reverse("fault-add", args=["C-001"]), filled_in()).status_code == 302
    assert Fault.objects.count() == 1


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"text": ""}, "text"),
        ({"text": " \n "}, "text"),
        ({"text": "a\x00b"}, "text"),
        ({"text": "x" * 1001}, "text"),
        ({"uuid": "1"}, "uuid"),
        ({"uuid": ""}, "uuid"),
        ({"via": "visit"}, "via"),
        ({"amount_cents": "lots"}, "amount_cents"),
        ({"amount_cents": "-2"}, "amount_cents"),
        ({"contact": "x" * 201}, "contact"),
    ],
)
def test_fault_that_makes_no_sense_is_refused(hand_client, machine, changed, field):
    response = hand_client.post(reverse("fault-add", args=["C-001"]), filled_in(**changed))
    assert response.status_code == 422
    assert list(response.context["form"].errors) == [field]
    assert Fault.objects.count() == 0


def test_fault_of_a_cabinet_that_is_not_there(hand_client, machine):
    assert hand_client.get(reverse("fault-add", args=["C-999"])).status_code == 404


def test_fault_is_marked_as_fixed_once(hand_client, report):
    fault = report()
    for _ in range(2):
        response = hand_client.post(reverse("fault-fix", args=[fault.pk]), {"how": "Tightened the screw"})
        assert response.url == reverse("faults")
    fixed = FaultFix.objects.get()
    assert (fixed.fault, fixed.how, fixed.by.username) == (fault, "Tightened the screw", "tomas")


@pytest.mark.parametrize("how", ["", "x" * 501, "\x00"])
def test_fix_that_says_nothing_readable_is_refused(hand_client, report, how):
    response = hand_client.post(reverse("fault-fix", args=[report().pk]), {"how": how})
    assert response.status_code == 422
    assert FaultFix.objects.count() == 0


def test_withdrawn_fault_cannot_be_opened(hand_client, report, owner, noon):
    fault = report(source=UUID(int=1))
    Fault.objects.withdraw(sources=[UUID(int=1)], by=owner, at=noon)
    assert hand_client.get(reverse("fault-fix", args=[fault.pk])).status_code == 404


@pytest.mark.parametrize("asked", ["", "?show=fixed"])
def test_list_asks_the_database_no_more_for_3_than_for_1(owner_client, report, fix, asked):
    fix(report())
    report()
    one = queries_of(owner_client, reverse("faults") + asked)
    for _ in range(2):
        fix(report(machine=MachineFactory()))
        report(machine=MachineFactory(), by=None)
    assert queries_of(owner_client, reverse("faults") + asked) == one


def test_database_holds_one_live_report_of_an_id(report, owner, noon):
    first = report()
    with pytest.raises(IntegrityError), transaction.atomic():
        Fault.objects.create(
            uuid=first.uuid, machine=first.machine, via="visit", text="x", by=owner, at=noon, received_at=noon
        )


def test_database_holds_who_withdrew(report, fix, noon):
    fixed = fix(report())
    for row in (fixed, fixed.fault):
        name = f"machines_{row._meta.model_name}_withdrawn_has_who_and_when"
        with pytest.raises(IntegrityError, match=name), transaction.atomic():
            type(row).objects.update(withdrawn_at=noon)
