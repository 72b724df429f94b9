"""An empty installation: the business and its first owner on one page."""

import pytest

from routeapp.models import Business
from tests import factories

pytestmark = pytest.mark.django_db

SAID = {
    "name": "Lantern Rounds",
    "currency": "EUR",
    "time_zone": "Europe/Lisbon",
    "units": "metric",
    "own_name": "Ines Lobo",
    "username": "ines",
    "password": factories.PASSWORD,
}


def test_business_and_owner_are_made_and_signed_in(client):
    answer = client.post("/welcome/", SAID)

    assert answer.headers["Location"] == "/"
    assert list(Business.objects.values_list("name", "currency", "time_zone")) == [
        ("Lantern Rounds", "EUR", "Europe/Lisbon")
    ]
    assert client.get("/people/").status_code == 200
    assert [line.user.username for line in client.get("/audit/").context["table"].rows] == ["ines", "ines"]


def test_once_somebody_can_sign_in_there_is_no_welcome(client, owner):
    assert client.post("/welcome/", SAID).headers["Location"] == "/sign-in/"
    assert not Business.objects.exists()


def test_another_computer_is_sent_to_the_command(client):
    answer = client.post("/welcome/", SAID, REMOTE_ADDR="192.0.2.7", follow=True)

    assert "Only the computer that runs Keyround can set it up on a page." in answer.content.decode()
    assert not Business.objects.exists()


def test_password_easy_to_guess_is_refused_and_the_rest_kept(client):
    answer = client.post("/welcome/", {**SAID, "password": "password12"})

    assert answer.status_code == 422
    assert 'value="Lantern Rounds"' in answer.content.decode()
    assert not Business.objects.exists()
