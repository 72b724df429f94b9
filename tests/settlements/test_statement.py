"""The page behind a host's link: its own settlements and nothing else, until the link is withdrawn."""

import re

import pytest
from django.test import Client

from locations.agreements.actions import withdraw_agreement
from locations.agreements.models import Agreement
from locations.sites.actions import edit_location
from routeapp.kit.errors import Refused
from routeapp.models import Settlement, StatementLink
from routeapp.settlements import actions
from tests import factories
from tests.settlements.world import IN_APRIL, IN_MAY, agree, issue, visit

pytestmark = pytest.mark.django_db


@pytest.fixture
def link(world, owner):
    issue(world)
    return actions.open_statement(host=world.location.host, by=owner, at=IN_APRIL)


def test_host_sees_its_own_settlements_only(world, link):
    own = world.location
    world.location = factories.LocationFactory(name="Gull Diner", time_zone="America/Chicago")
    agree(world)
    visit(world, "other", 1, 7_700)
    other = issue(world)

    page = Client().get(f"/statement/{link.code}/")

    assert own.name in page.text
    assert "$39.38" in page.text
    assert "Gull Diner" not in page.text
    assert Client().get(f"/statement/{link.code}/{other.number}/").status_code == 404
    assert Client().get(f"/statement/{link.code}/1/").status_code == 200
    assert Client().get(f"/statement/{link.code}/1/pdf/").content.startswith(b"%PDF-")


@pytest.mark.parametrize("where", ["", "1/", "1/pdf/"])
def test_nobody_else_learns_of_the_page(link, where):
    answer = Client().get(f"/statement/{link.code}/{where}")
    assert answer.headers["X-Robots-Tag"] == "noindex, nofollow"
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["Cache-Control"] == "no-store"


def test_wrong_withdrawn_and_unknown_addresses_answer_alike(world, link, owner):
    code, client = link.code, Client()
    before = client.get(f"/statement/{code}/99/")
    actions.close_statement(link=link, by=owner, at=IN_APRIL)
    answers = [client.get(f"/statement/{each}/") for each in (code, "x" * 22, "%00", "%F0%9F%94%91")]

    assert {(one.status_code, re.sub(r'"X-CSRFToken": "\w+"', "", one.text)) for one in [before, *answers]} == {
        (404, re.sub(r'"X-CSRFToken": "\w+"', "", before.text))
    }


def test_link_is_unguessable_one_per_host_and_new_after_it_was_withdrawn(world, link, owner):
    assert actions.open_statement(host=world.location.host, by=owner, at=IN_APRIL) == link
    actions.close_statement(link=link, by=owner, at=IN_APRIL)
    again = actions.open_statement(host=world.location.host, by=owner, at=IN_APRIL)

    assert len(again.code) * 6 >= 128  # bits of base 64
    assert again.code != link.code
    assert StatementLink.objects.live().count() == 1


def test_link_is_made_and_withdrawn_on_the_account_of_the_host(owner_client, world):
    host = world.location.host
    owner_client.post(f"/locations/hosts/{host.pk}/statement/open/")
    code = StatementLink.objects.get().code
    assert f"/statement/{code}/" in owner_client.get(f"/locations/hosts/{host.pk}/account/").text
    owner_client.post(f"/locations/hosts/{host.pk}/statement/close/")
    assert f"/statement/{code}/" not in owner_client.get(f"/locations/hosts/{host.pk}/account/").text


def test_papers_stay_with_their_host_when_the_terms_are_withdrawn(owner, world, link):
    for agreement in Agreement.objects.live():
        withdraw_agreement(agreement=agreement, by=owner, at=IN_MAY)
    location = world.location
    said = {"location": location, "name": location.name, "new_host": "Tide Street Arcade", "by": owner, "at": IN_MAY}
    with pytest.raises(Refused, match="make the settlements void"):
        edit_location(**said)

    for paper in Settlement.objects.filter(withdrawn_at=None).order_by("-number"):
        actions.void(settlement=paper, reason="The wrong host", by=owner, at=IN_MAY)
    assert str(edit_location(**said).host) == "Tide Street Arcade"
