"""A business whose money went to the bank."""

from datetime import timedelta
from uuid import UUID

from routeapp.cash.actions_deposits import deposit
from routeapp.cash.models import Bag
from tests.visits.books import START, document, entry, record, some_id


def banked(world):
    """What stands in the addresses of pages about the bank, by the name of the page."""
    record(world, document(world, "to bank", days=0.5, entries=[entry(world, "to bank", reading=160, cents=2000)]))
    at = START + timedelta(days=1)
    bag = Bag.objects.get(uuid=some_id("bag to bank"))
    said = {"by": world.person, "at": at, "received_at": at}
    taken = deposit(uuid=UUID(some_id("deposit")), bags=[bag], lines={"n500": 4}, **said)
    return dict.fromkeys(("deposit", "deposit-slip", "deposit-figure", "deposit-withdraw"), {"uuid": taken.uuid})
