"""Whatever is noted, sealed, counted and corrected, in whatever order: a bag holds what paper says it must."""

from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction
from uuid import UUID

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from routeapp.cash import actions, queries
from routeapp.cash.models import Bag, BagCount, CashMove, Purse, Sealed
from tests import factories

hours = st.integers(0, 3)


@dataclass(frozen=True)
class Paper:
    """One thing said about the bag: cash noted at the site, paid to the host, sealed with an estimate, or a count."""

    what: str
    source: UUID
    hour: int
    cents: int


papers = st.lists(
    st.builds(
        Paper,
        st.sampled_from(["noted", "paid", "sealed", "counted", "counted"]),
        st.uuids(),
        hours,
        st.integers(0, 3000) | st.sampled_from([0, 1, 100]),
    ),
    min_size=1,
    max_size=8,
    unique_by=lambda paper: paper.source,
)
stories = papers.flatmap(lambda said: st.tuples(st.permutations(said), st.sets(st.integers(0, len(said) - 1))))


def shared(cents, weights):
    """Largest remainder, written down once more: whole parts first, the cents left to the largest remainders."""
    weights = weights if sum(weights) else [1] * len(weights)
    exact = [Fraction(cents * weight, sum(weights)) for weight in weights]
    parts = [int(share) for share in exact]
    by_remainder = sorted(range(len(parts)), key=lambda number: (parts[number] - exact[number], number))
    for number in by_remainder[: cents - sum(parts)]:
        parts[number] += 1
    return parts


def reckon(said):
    """(what the bag holds, take by source, over or short) after these papers, worked out on paper."""
    noted = {paper.source: paper.cents for paper in said if paper.what == "noted"}
    paid = sum(paper.cents for paper in said if paper.what == "paid")
    sealed = sorted((p for p in said if p.what == "sealed"), key=lambda p: (p.hour, str(p.source)))
    counts = sorted((p for p in said if p.what == "counted"), key=lambda p: (p.hour, str(p.source)))
    expected = sum(noted.values()) - paid
    if not counts:
        return expected, noted, 0
    found = counts[-1].cents
    if sealed and found >= expected:
        shares = shared(found - expected, [paper.cents for paper in sealed])
        return found, noted | {paper.source: share for paper, share in zip(sealed, shares, strict=True)}, 0
    return found, noted, found - expected


@pytest.fixture
def world(owner, noon):
    location, machine = factories.LocationFactory(), factories.MachineFactory()
    said = Bag(by=owner, uuid=UUID(int=1), number="17", location=location, at=noon)
    bags, _ = actions.get_bags(said=[said], rename=[], by=owner, at=noon)
    return bags[said.uuid], machine, owner


def write(paper, world, noon):
    bag, machine, owner = world
    moment = noon + timedelta(hours=paper.hour)
    where = {"machine_id": machine.pk, "location_id": bag.location_id, "bag": bag}
    signed = {"by": owner, "at": noon}
    if paper.what == "counted":
        count = {"how": "amount", "cents": paper.cents, "lines": {}, "note": "", "by": owner, "at": moment}
        actions.count_bag(uuid=paper.source, bag=bag, received_at=noon, **count)
    elif paper.what == "sealed":
        facts = {"at": moment, "day": noon.date(), "by": owner, "received_at": noon, "source": paper.source}
        Sealed.objects.create(estimate_cents=paper.cents, **where, **facts)
    elif paper.what == "noted":
        facts = {"cents": paper.cents, "entry": paper.source, "source": paper.source}
        actions.append(moves=actions.take_moves(moment=moment, day=noon.date(), **where, **facts), **signed)
    else:
        ends = {"from_purse": Purse.BAG, "to_purse": Purse.HOST, "cents": paper.cents, "day": noon.date()}
        move = CashMove(bag=bag, location_id=bag.location_id, at=moment, source=paper.source, **ends)
        actions.append(moves=[move], **signed)
    actions.settle_bags(bags=[bag], **signed)


def take_back(paper, world, noon):
    bag, _, owner = world
    if paper.what == "counted":
        actions.withdraw_count(count=BagCount.objects.get(uuid=paper.source), by=owner, at=noon)
        return
    actions.take_back(sources=[paper.source], by=owner, at=noon)
    Sealed.objects.withdraw(sources=[paper.source], by=owner, at=noon)
    actions.settle_bags(bags=[bag], by=owner, at=noon)


def net(purse):
    moves = CashMove.objects.all()
    return sum(one.cents for one in moves.filter(to_purse=purse)) - sum(
        one.cents for one in moves.filter(from_purse=purse)
    )


def check(said, bag):
    holds, takes, over = reckon(said)
    assert queries.bags().get(pk=bag.pk).holds == holds == net(Purse.BAG)
    assert net(Purse.OVER_SHORT) == -over
    assert net(Purse.BOX) == 0
    assert net(Purse.PLAYERS) == -sum(takes.values())
    assert sum(net(purse) for purse in Purse) == 0
    found = {source: cents for source, cents in queries.take_by_entry(takes).items() if cents}
    assert found == {source: cents for source, cents in takes.items() if cents}


@given(story=stories, early=st.booleans())
@settings(max_examples=35, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_bag_holds_what_paper_says_in_any_order_and_with_anything_taken_back(world, noon, story, early):
    said, wrong = story
    with transaction.atomic():
        for number, paper in enumerate(said):
            write(paper, world, noon)
            if early and number in wrong:
                take_back(paper, world, noon)
        for number in set() if early else wrong:
            take_back(said[number], world, noon)
        check([paper for number, paper in enumerate(said) if number not in wrong], world[0])
        transaction.set_rollback(True)


@given(story=stories)
@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_settling_again_changes_nothing(world, noon, story):
    bag, _, owner = world
    with transaction.atomic():
        for paper in story[0]:
            write(paper, world, noon)
        before = CashMove.objects.count()
        actions.settle_bag(bag=Bag.objects.get(pk=bag.pk), by=owner, at=noon)
        assert CashMove.objects.count() == before
        transaction.set_rollback(True)
