"""What the database itself refuses about stock, whoever writes."""

import pytest
from django.db import IntegrityError, transaction

from routeapp.stock import actions
from routeapp.stock.models import Delivery, Holding, Mix, MixLine, Place, PlaceKind, PrizeCost, StockCount, StockMove
from tests import factories


@pytest.fixture
def facts(owner, noon):
    return {"by": owner, "at": noon, "received_at": noon}


@pytest.fixture
def store(db):
    return Place.objects.create(kind=PlaceKind.STORE, name="Back room")


@pytest.fixture
def van(db):
    return Place.objects.create(kind=PlaceKind.VAN, name="Blue van")


@pytest.fixture
def bear(db):
    return factories.PrizeFactory(name="Bear")


def refuses(constraint, write):
    """SQLite names the columns of a unique constraint, everything else names the constraint."""
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        write()


def test_prize_name_once(bear):
    refuses("name", lambda: factories.PrizeFactory(name="Bear"))


def test_mix_name_once_in_use(db, noon):
    Mix.objects.create(name="Plush", retired_at=noon)
    Mix.objects.create(name="Plush")
    refuses("mix_name_once_in_use|routeapp_mix.name", lambda: Mix.objects.create(name="Plush"))


def test_mix_line_once_per_prize(bear):
    mix = Mix.objects.create(name="Plush")
    MixLine.objects.create(mix=mix, prize=bear, quantity=1)
    refuses("mix_line_once_per_prize|mix_id", lambda: MixLine.objects.create(mix=mix, prize=bear, quantity=2))


def test_mix_line_above_zero(bear):
    mix = Mix.objects.create(name="Plush")
    refuses("mix_line_above_zero", lambda: MixLine.objects.create(mix=mix, prize=bear, quantity=0))


@pytest.mark.parametrize("kind", [PlaceKind.SUPPLIER, PlaceKind.PLAYERS, PlaceKind.SHRINKAGE])
def test_place_beyond_us_once(db, kind):
    actions.beyond(kind)
    refuses("place_beyond_us_once|routeapp_place.kind", lambda: Place.objects.create(kind=kind, name="Another"))


def test_place_cabinet_has_its_machine(db):
    refuses("place_cabinet_has_its_machine", lambda: Place.objects.create(kind=PlaceKind.CABINET, name="C"))
    machine = factories.MachineFactory()
    refuses(
        "place_cabinet_has_its_machine",
        lambda: Place.objects.create(kind=PlaceKind.STORE, name="S", machine=machine),
    )


def test_cabinet_and_person_have_one_place_each(owner):
    machine = factories.MachineFactory()
    actions.cabinet_place(machine)
    Place.objects.create(kind=PlaceKind.VAN, name="Red van", person=owner)
    refuses("machine_id", lambda: Place.objects.create(kind=PlaceKind.CABINET, name="Another", machine=machine))
    refuses("person_id", lambda: Place.objects.create(kind=PlaceKind.VAN, name="White van", person=owner))


def test_stock_move_above_zero(store, van, bear, facts):
    refuses(
        "stock_move_above_zero",
        lambda: StockMove.objects.create(prize=bear, from_place=store, to_place=van, quantity=0, **facts),
    )


def test_stock_move_between_two_places(store, bear, facts):
    refuses(
        "stock_move_between_two_places",
        lambda: StockMove.objects.create(prize=bear, from_place=store, to_place=store, quantity=1, **facts),
    )


def test_stock_move_is_reversed_once(store, van, bear, facts):
    move = StockMove.objects.create(prize=bear, from_place=store, to_place=van, quantity=1, **facts)
    back = {"prize": bear, "from_place": van, "to_place": store, "quantity": 1, "reverses": move, **facts}
    StockMove.objects.create(**back)
    refuses("reverses_id", lambda: StockMove.objects.create(**back))


def test_withdrawn_fact_has_who_and_when(store, van, bear, facts, noon):
    withdrawn = {**facts, "withdrawn_at": noon}
    refuses(
        "stockmove_withdrawn_has_who_and_when",
        lambda: StockMove.objects.create(prize=bear, from_place=store, to_place=van, quantity=1, **withdrawn),
    )
    refuses(
        "stockcount_withdrawn_has_who_and_when",
        lambda: StockCount.objects.create(prize=bear, place=store, quantity=1, **withdrawn),
    )
    refuses(
        "delivery_withdrawn_has_who_and_when",
        lambda: Delivery.objects.create(uuid="00000000-0000-0000-0000-000000000001", **withdrawn),
    )


def test_holding_once_per_place_and_prize(store, bear):
    Holding.objects.create(place=store, prize=bear)
    refuses("holding_once|place_id", lambda: Holding.objects.create(place=store, prize=bear))


def test_prize_cost_one_per_moment(bear, noon):
    PrizeCost.objects.create(prize=bear, since=noon, quantity=1, value_cents=1)
    refuses(
        "prize_cost_one_per_moment|prize_id",
        lambda: PrizeCost.objects.create(prize=bear, since=noon, quantity=2, value_cents=1),
    )
