"""Who may open which address, as the list of doors says."""

import re
from uuid import UUID

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, resolve
from django.urls.resolvers import RoutePattern

from routeapp.kit.access import EVERYONE, PUBLIC
from tests import factories
from tests.team.doors import EXPECTED

# What stands in an address where a pattern has a variable. None of these exist: the door is before the room.
SAMPLES = {"int": "987654", "str": "NO-SUCH", "slug": "no-such", "uuid": str(UUID(int=1)), "path": "no/such"}


def patterns(resolver=None, before=""):
    """Every (name, address) of the project."""
    for one in (resolver or get_resolver()).url_patterns:
        route = before + str(one.pattern)
        if isinstance(one, URLResolver):
            yield from patterns(one, route)
        elif isinstance(one, URLPattern):
            assert isinstance(one.pattern, RoutePattern), f"{route}: write it with path(), so that it can be tried."
            yield one.name, "/" + re.sub(r"<(?:(\w+):)?\w+>", lambda found: SAMPLES[found[1] or "str"], route)


ADDRESSES = sorted(patterns(), key=str)


def test_every_address_has_a_name_and_a_line_here():
    unknown = {f"{name} ({address})" for name, address in ADDRESSES if name not in EXPECTED}
    assert unknown == set(), "Say in EXPECTED who may open these addresses."


def test_every_line_here_has_an_address():
    assert set(EXPECTED) - {name for name, _ in ADDRESSES} == set(), "These lines lead nowhere: remove them."


@pytest.mark.parametrize(("name", "address"), ADDRESSES)
def test_view_names_its_roles(name, address):
    said = getattr(resolve(address).func, "roles", frozenset())
    assert said == set(EXPECTED[name]), f"{name}: mark the view with @allow(...) as EXPECTED says."


def turned_away(response):
    return response.status_code in (401, 403) or response.headers.get("Location", "").startswith("/sign-in/?next=")


@pytest.fixture
def people(db):
    """Somebody without a role and one person of each, signed in, by what they are; and a stranger."""
    clients = {"a stranger": Client()}
    for number, role in enumerate(["nobody's role", *EVERYONE]):
        clients[role] = Client()
        clients[role].force_login(
            factories.person(f"sam{number}", role), backend="django.contrib.auth.backends.ModelBackend"
        )
    return clients


@pytest.mark.any_engine
@pytest.mark.parametrize(("name", "address"), ADDRESSES)
def test_door_opens_for_those_only(people, name, address):
    for who, client in people.items():
        expected = PUBLIC in EXPECTED[name] or who in EXPECTED[name]
        for response in (client.get(address), client.post(address)):
            assert response.status_code < 500, who
            assert turned_away(response) != expected, who
