"""Settlements by e-mail: each sending and each failure is on record, and no mail server loses a settlement."""

import socket
from email import message_from_bytes
from uuid import uuid4

import pytest
from aiosmtpd.controller import Controller
from django.db import transaction

from routeapp.kit.errors import Refused
from routeapp.models import Letter, Settlement
from routeapp.settlements import actions, actions_mail
from tests.settlements.world import IN_APRIL, issue

pytestmark = pytest.mark.django_db(transaction=True)


class Postbox:
    """Takes every letter, but none for addresses at nowhere.example."""

    def __init__(self):
        self.letters = []

    async def handle_RCPT(self, server, session, envelope, address, rcpt_options):  # noqa: N802
        if address.endswith("@nowhere.example"):
            return "550 no such person"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        self.letters.append(message_from_bytes(envelope.content))
        return "250 Message accepted for delivery"


@pytest.fixture
def mail(settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_USE_TLS = "127.0.0.1", False
    settings.DEFAULT_FROM_EMAIL = "office@lantern.example"
    settings.EMAIL_PORT = free_port()
    return settings


def free_port():
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return listening.getsockname()[1]


@pytest.fixture
def postbox(mail):
    box = Postbox()
    controller = Controller(box, hostname="127.0.0.1", port=mail.EMAIL_PORT)
    controller.start()
    yield box
    controller.stop()


def send(one, owner, to="mika@arcade.example", uuid=None):
    return actions_mail.send(uuid=uuid or uuid4(), settlement=one, to=to, by=owner, at=IN_APRIL)


def test_settlement_goes_to_the_host_with_its_paper(owner_client, world, postbox):
    one = issue(world)
    page = owner_client.get(f"/settlements/{one.pk}/send/").text
    assert 'value="mika@arcade.example"' in page

    answer = owner_client.post(
        f"/settlements/{one.pk}/send/", {"uuid": str(uuid4()), "to": "mika@arcade.example"}, follow=True
    )

    (letter,) = postbox.letters
    assert letter["Subject"] == "Settlement 1 for March 2026 from Lantern Rounds"
    assert (letter["From"], letter["To"]) == ("office@lantern.example", "mika@arcade.example")
    (attached,) = [part for part in letter.walk() if part.get_content_type() == "application/pdf"]
    assert attached.get_payload(decode=True).startswith(b"%PDF-")
    assert "Sent to mika@arcade.example." in answer.text
    assert Letter.objects.get().problem == ""


def test_same_form_twice_sends_one_letter(world, owner, postbox):
    one, uuid = issue(world), uuid4()
    assert send(one, owner, uuid=uuid) == send(one, owner, uuid=uuid)
    assert len(postbox.letters) == 1


def test_dead_mail_server_loses_nothing_and_is_on_record(owner_client, world, mail):
    one = issue(world)
    answer = owner_client.post(
        f"/settlements/{one.pk}/send/", {"uuid": str(uuid4()), "to": "mika@arcade.example"}, follow=True
    )

    assert answer.status_code == 200
    letter = Letter.objects.get()
    assert letter.problem == "The mail server could not be reached or broke off (ConnectionRefusedError)."
    assert letter.tried_at is not None
    assert "not sent" in owner_client.get(f"/settlements/{one.pk}/").text
    assert Settlement.objects.get().withdrawn_at is None


def test_address_that_the_server_refuses_is_on_record(world, owner, postbox):
    send(issue(world), owner, to="somebody@nowhere.example")
    assert Letter.objects.get().problem == "The mail server does not take this address."


def test_nothing_is_sent_of_what_is_rolled_back(world, owner, postbox):
    one = issue(world)
    with transaction.atomic():
        send(one, owner)
        transaction.set_rollback(True)
    assert (postbox.letters, Letter.objects.count()) == ([], 0)


def test_void_settlement_and_missing_server_are_refused_in_words(world, owner, settings):
    one = issue(world)
    settings.EMAIL_HOST = ""
    with pytest.raises(Refused, match="No mail server is set up"):
        send(one, owner)
    actions.void(settlement=one, reason="Wrong", by=owner, at=IN_APRIL)
    one.refresh_from_db()
    with pytest.raises(Refused, match="Settlement 1 is void"):
        send(one, owner)


def test_name_of_the_business_cannot_write_headers(world, owner, postbox):
    from routeapp.models import Business

    Business.objects.update(name="Lantern\nBcc: all@arcade.example")
    send(issue(world), owner)
    assert postbox.letters[0]["Bcc"] is None
    assert Letter.objects.get().problem == ""
