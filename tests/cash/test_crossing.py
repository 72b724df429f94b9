"""Two corrections at once that swap their loose bags: nobody waits for who waits for them."""

import json

import pytest

from tests.cash.test_races import all_at_once
from tests.visits.books import document, entry, make_world, purse_balances, record

pytestmark = pytest.mark.django_db(transaction=True)
ROUNDS = 10


def test_corrections_that_swap_their_loose_bags_at_once_both_go_through(owner):
    world = make_world(owner)
    codes = []
    for turn in range(ROUNDS):
        first, second = (f"{name}{turn}" for name in "ab")
        said = {
            name: document(world, name, days=3 * turn + at, entries=[entry(world, name, at, cents=400)])
            for at, name in enumerate((first, second))
        }
        for raw in said.values():
            record(world, raw)
        right = []
        for at, (name, other) in enumerate(((first, second), (second, first))):
            amends = {"replaces": said[name]["id"], "reason": "the other bag", "loose_bag": said[other]["loose_bag"]}
            new = f"{name} right"
            corrected = document(world, new, days=3 * turn + at, entries=[entry(world, new, at, cents=300)], **amends)
            right.append(("/sync/visits/", {"document": json.dumps(corrected)}))
        codes += all_at_once(owner, right)

    assert codes == [201] * 2 * ROUNDS
    assert sum(cents for (purse, *_), cents in purse_balances().items() if purse == "bag") == 600 * ROUNDS
