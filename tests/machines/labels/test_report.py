"""What a stranger sees and may do behind a label."""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from django.urls import reverse

from machines.labels import actions
from machines.models import Fault, Label, ReportWindow
from routeapp.kit.errors import Refused
from routeapp.models import Business
from tests.factories import MachineFactory

CODE = "01A156K0ABCDEFGH"


@pytest.fixture
def label(owner, noon):
    Business.objects.create(pk=1, name="Lanternfish Amusements", contact="Call 555 0142")
    machine = MachineFactory(code="C-001", serial="SECRET-SERIAL", notes="secret note", price_cents=123)
    return Label.objects.create(machine=machine, code=CODE, by=owner, at=noon, received_at=noon)


@pytest.fixture
def report(label, noon):
    """Send a report; `number` tells reports apart."""

    def sent(number, at=noon, to=label, address="192.0.2.7"):
        return actions.report_from_label(
            label=to, address=address, uuid=UUID(int=number), text="Stuck", about="fault", at=at
        )

    return sent


def address(code=CODE):
    return reverse("label-page", args=[code])


def filled_in(**changed):
    return {"uuid": str(UUID(int=5)), "about": "fault", "text": "The claw is stuck", **changed}


def test_stranger_sees_which_cabinet_and_whom_to_call(client, label):
    page = client.get(address()).content.decode()
    assert "<h1>Prize claw C-001</h1>" in page
    assert "Call 555 0142" in page
    assert "Do not tip or rock the cabinet and do not reach inside." in page


@pytest.mark.parametrize("private", ["SECRET-SERIAL", "secret note", "1.23", "/cabinets/"])
def test_stranger_sees_nothing_private(client, label, private):
    page = client.get(address()).content.decode().lower()
    assert private.lower() not in page


@pytest.mark.parametrize("method", ["get", "post"])
def test_page_is_kept_out_of_caches_search_engines_and_referrers(client, label, method):
    response = getattr(client, method)(address())
    assert response["Cache-Control"] == "no-store"
    assert response["X-Robots-Tag"] == "noindex, nofollow"
    # Not "no-referrer": browsers then send "Origin: null" with the form, which the CSRF check turns away.
    assert response["Referrer-Policy"] == "same-origin"


def test_unknown_malformed_and_withdrawn_codes_answer_alike(client, label, owner, noon):
    actions.renew_label(label=label, by=owner, at=noon)
    answers = [client.get(address(code)) for code in ("1" * 16, "C-001", "x", CODE)]
    assert {answer.status_code for answer in answers} == {404}
    assert len({len(answer.content) for answer in answers}) == 1


def test_report_becomes_an_open_fault(client, label):
    sent = filled_in(about="lost_money", amount_cents="2.50", contact="mara@example.org")
    response = client.post(address(), sent, follow=True)
    assert "<h1>Thank you</h1>" in response.content.decode()
    fault = Fault.objects.get()
    assert (fault.machine, fault.via, fault.about, fault.by) == (label.machine, "label", "lost_money", None)
    assert (fault.text, fault.amount_cents, fault.contact) == ("The claw is stuck", 250, "mara@example.org")


def test_report_sent_twice_is_one_and_counts_once(client, label):
    for _ in range(2):
        assert client.post(address(), filled_in()).status_code == 302
    assert Fault.objects.count() == 1
    assert sorted(ReportWindow.objects.values_list("reports", flat=True)) == [1, 1]


def test_program_that_fills_in_every_field_is_thanked_and_forgotten(client, label):
    assert client.post(address(), filled_in(website="https://spam.example")).status_code == 302
    assert Fault.objects.count() == 0


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"text": ""}, "text"),
        ({"text": "a\x00b"}, "text"),
        ({"text": "x" * 1001}, "text"),
        ({"about": "nonsense"}, "about"),
        ({"about": ""}, "about"),
        ({"amount_cents": "a lot"}, "amount_cents"),
        ({"amount_cents": "9" * 40}, "amount_cents"),
        ({"contact": "x" * 201}, "contact"),
        ({"uuid": "no id"}, "uuid"),
    ],
)
def test_report_that_cannot_be_read_is_shown_again(client, label, changed, field):
    response = client.post(address(), filled_in(**changed))
    assert response.status_code == 422
    assert list(response.context["form"].errors) == [field]
    assert Fault.objects.count() == 0


def test_seventh_report_of_one_label_in_an_hour_is_refused(report):
    for number in range(6):
        report(number, address=f"192.0.2.{number}")
    with pytest.raises(Refused, match="Too many reports"):
        report(6, address="192.0.2.99")
    assert Fault.objects.count() == 6


def test_eleventh_report_of_one_address_in_an_hour_is_refused(report, owner, noon):
    labels = [actions.label_for(machine=MachineFactory(), by=owner, at=noon) for _ in range(11)]
    for number in range(10):
        report(number, to=labels[number])
    with pytest.raises(Refused, match="Too many reports"):
        report(10, to=labels[10])
    assert report(11, to=labels[10], address="198.51.100.1").machine == labels[10].machine


def test_refused_report_counts_for_nothing(report):
    for number in range(6):
        report(number)
    for number in range(6, 9):
        with pytest.raises(Refused):
            report(number)
    assert sorted(ReportWindow.objects.values_list("reports", flat=True)) == [6, 6]


def test_next_hour_begins_anew_and_old_windows_go(report, noon):
    for number in range(6):
        report(number)
    report(6, at=noon + timedelta(hours=1))
    report(7, at=noon + timedelta(days=2))
    assert set(ReportWindow.objects.values_list("hour", flat=True)) == {noon + timedelta(days=2)}
    assert Fault.objects.count() == 8


def test_address_of_a_stranger_is_not_kept(report):
    report(1, address="192.0.2.7")
    assert not ReportWindow.objects.filter(key__contains="192.0.2.7").exists()


def test_page_over_the_limit_keeps_what_was_written(client, label):
    for _ in range(6):
        client.post(address(), filled_in(uuid=str(uuid4())))
    response = client.post(address(), filled_in(text="The seventh"))
    assert response.status_code == 422
    assert response.context["form"].non_field_errors() == [
        "Too many reports came in within this hour. Try again later, or tell the staff here."
    ]
    assert "The seventh" in response.content.decode()


def test_address_behind_a_proxy_is_the_one_the_proxy_saw(client, label, settings):
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    for last in ("192.0.2.1", "192.0.2.2"):
        headers = {"X-Forwarded-For": f"203.0.113.9, {last}"}
        client.post(address(), filled_in(uuid=str(uuid4())), headers=headers)
    assert ReportWindow.objects.filter(key__startswith="address:").count() == 2
