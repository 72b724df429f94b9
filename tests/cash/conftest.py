"""Two cabinets at one place, the bags that a visit fills, and somebody signed in."""

from uuid import uuid4

import pytest
from django.urls import reverse

from routeapp.cash import actions, actions_deposits, queries
from routeapp.cash.models import Bag
from tests.visits import books


@pytest.fixture
def world(route_hand):
    return books.make_world(route_hand)


@pytest.fixture
def loose(world):
    """A bag of cash counted at the site; `cents` by cabinet, `days` after the first day of the books."""

    def fill(*cents, name="a", days=0.0, **more):
        entries = [books.entry(world, name, place, cents=amount) for place, amount in enumerate(cents)]
        books.record(world, books.document(world, name, days=days, entries=entries, **more))
        return queries.bags().get(uuid=books.some_id(f"bag {name}"))

    return fill


@pytest.fixture
def sealed(world):
    """A bag sealed uncounted with the cash of as many cabinets as there are `estimates` of their meters."""

    def fill(*estimates, name="s", days=0.0, **more):
        bag = {"id": books.some_id(f"sealed {name}"), "number": f"S-{name}"}
        cash = [{"taken": "sealed", "bag": bag, "estimate_cents": one} for one in estimates]
        entries = [books.entry(world, name, place, cash=one) for place, one in enumerate(cash)]
        books.record(world, books.document(world, name, days=days, entries=entries, **more))
        return queries.bags().get(uuid=bag["id"])

    return fill


@pytest.fixture
def count(owner, noon):
    def note(bag, cents, at=noon, uuid=None, **more):
        said = {"how": "amount", "lines": {}, "note": ""} | more
        return actions.count_bag(uuid=uuid or uuid4(), bag=bag, cents=cents, by=owner, at=at, received_at=at, **said)

    return note


@pytest.fixture
def office(client, bookkeeper):
    client.force_login(bookkeeper, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def send(office):
    """Post a form about a bag, its address by name; follows to the page that answers."""

    def post(name, bag, **data):
        return office.post(reverse(name, args=[bag.pk]), data, follow=True)

    return post


@pytest.fixture
def again():
    """A bag as it is now."""

    def read(bag: Bag) -> Bag:
        return queries.bags().get(pk=bag.pk)

    return read


@pytest.fixture
def to_bank(owner, noon):
    """Take bags to the bank without the page."""

    def take(*bags, at=noon, uuid=None, **more):
        return actions_deposits.deposit(uuid=uuid or uuid4(), bags=bags, by=owner, at=at, received_at=at, **more)

    return take


@pytest.fixture
def send_to_bank(office):
    """Post the form that takes bags to the bank."""

    def post(*bags, **data):
        chosen = "&".join(f"bag={bag.pk}" for bag in bags)
        return office.post(f"{reverse('deposit-add')}?{chosen}", {"uuid": uuid4(), **data}, follow=True)

    return post
