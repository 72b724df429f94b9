"""No page offers what whoever sees it may not open, and no list to choose from opens with a row of dashes."""

import re
from html import unescape
from urllib.parse import urljoin

import pytest
from django.urls import Resolver404, resolve

from routeapp.kit.access import BOOKKEEPER, OWNER, PUBLIC, ROUTE_HAND
from routeapp.models import Business
from tests.browser.test_every_page import addresses, lived_in
from tests.team.doors import EXPECTED

__all__ = ["lived_in"]  # a fixture of all pages with something to show
pytestmark = pytest.mark.django_db

LED_TO = re.compile(r'(?:href|action)="([^"#]+)')


@pytest.fixture
def business(db):
    return Business.objects.create(pk=1, name="Pier Nine Amusements", currency="USD", time_zone="America/Chicago")


def pages(client, lived_in, role):
    """Address and text of each page this role may open."""
    for name, address in addresses(lived_in):
        if {role, PUBLIC} & set(EXPECTED[name]):
            answer = client.get(address)
            if answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
                yield address, answer.content.decode()


def closed(address, text, role):
    """The names of what is led to from here and closed to a role."""
    for found in LED_TO.findall(text):
        try:
            name = resolve(urljoin(address, unescape(found)).partition("?")[0]).url_name
        except Resolver404:
            continue  # the world outside, and files
        if not {role, PUBLIC} & set(EXPECTED[name]):
            yield name


@pytest.mark.parametrize("role", [ROUTE_HAND, BOOKKEEPER])
def test_pages_lead_where_whoever_sees_them_may_go(client, lived_in, route_hand, bookkeeper, role):
    client.force_login({ROUTE_HAND: route_hand, BOOKKEEPER: bookkeeper}[role])

    wrong = {address: {*closed(address, text, role)} for address, text in pages(client, lived_in, role)}

    assert {address: names for address, names in wrong.items() if names} == {}


def test_lists_to_choose_from_say_what_empty_means(client, lived_in, owner):
    client.force_login(owner)

    assert [address for address, text in pages(client, lived_in, OWNER) if ">---" in text] == []
