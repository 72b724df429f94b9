"""Prizes, mixes, stores and vans: adding, changing, and what is refused."""

from importlib import import_module
from uuid import uuid4

import pytest
from django.apps import apps
from django.urls import reverse

from routeapp.kit.errors import Refused
from routeapp.stock import actions
from routeapp.stock import actions_goods as goods
from routeapp.stock.models import Mix, Place, PlaceKind, Prize
from routeapp.stock.queries_overview import expand
from tests import factories

FROG = {"name": "Frog", "supplier": "", "low_at": "0", "size_mm": "", "age_grade": "3+", "notes": ""}


def test_prize_is_added_with_its_warning(owner_client):
    owner_client.post(reverse("prize-add"), {**FROG, "small_parts": "on", "size_mm": "40"})

    frog = Prize.objects.get()
    assert (frog.name, frog.age_grade, frog.small_parts, frog.size_mm) == ("Frog", "3+", True, 40)


def test_form_of_a_prize_warns_of_choking_and_leaves_the_law_to_the_place(owner_client):
    page = owner_client.get(reverse("prize-add")).content.decode()

    assert "Small parts choke small children" in page
    assert "the rules where the cabinet stands decide" in page


def test_prize_is_changed_and_keeps_its_moves(owner_client):
    frog = factories.PrizeFactory(name="Frogg")

    owner_client.post(reverse("prize-edit", args=[frog.pk]), FROG)

    assert Prize.objects.values_list("pk", "name").get() == (frog.pk, "Frog")


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": ""},
        {"name": "x" * 81},
        {"name": "Fr\x00og"},
        {"name": "Bear"},
        {"low_at": "-1"},
        {"low_at": "1.5"},
        {"low_at": "9" * 30},
        {"size_mm": "ten"},
    ],
)
@pytest.mark.parametrize("address", ["prize-add", "prize-edit"])
def test_wrong_prize_is_explained_and_what_was_typed_stays(owner_client, wrong, address):
    factories.PrizeFactory(name="Bear")
    before = factories.PrizeFactory(name="Frogg")
    arguments = [before.pk] if address == "prize-edit" else []

    response = owner_client.post(reverse(address, args=arguments), {**FROG, **wrong, "notes": "from the fair"})

    assert response.status_code == 422
    assert "from the fair" in response.content.decode()
    assert sorted(Prize.objects.values_list("name", flat=True)) == ["Bear", "Frogg"]


def test_two_people_adding_one_prize_at_once_get_one(owner, noon):
    goods.add_prize(name="Frog", by=owner, at=noon)

    with pytest.raises(Refused, match="named “Frog” already"):
        goods.add_prize(name="Frog", by=owner, at=noon)


def test_mix_is_made_of_the_prizes_filled_in(owner_client):
    bear, ring, _ = (factories.PrizeFactory() for _ in range(3))

    owner_client.post(reverse("mix-add"), {"name": "Plush", f"prize-{bear.pk}": "30", f"prize-{ring.pk}": "10"})

    mix = Mix.objects.get()
    assert expand(mix, 2) == [(bear, 60), (ring, 20)]


def test_changed_mix_is_a_new_one_and_the_old_one_keeps_its_lines(owner_client, owner, noon):
    bear = factories.PrizeFactory()
    old = goods.make_mix(name="Plush", lines=[(bear, 30)], by=owner, at=noon)

    owner_client.post(reverse("mix-edit", args=[old.pk]), {"name": "Plush", f"prize-{bear.pk}": "25"})

    old.refresh_from_db()
    new = Mix.objects.get(retired_at=None)
    assert old.retired_at is not None
    assert (expand(old, 1), expand(new, 1)) == ([(bear, 30)], [(bear, 25)])


def test_mix_changed_twice_by_one_form_is_changed_once(owner_client, owner, noon):
    bear = factories.PrizeFactory()
    old = goods.make_mix(name="Plush", lines=[(bear, 30)], by=owner, at=noon)
    typed = {"name": "Plush", f"prize-{bear.pk}": "25"}

    owner_client.post(reverse("mix-edit", args=[old.pk]), typed)
    again = owner_client.post(reverse("mix-edit", args=[old.pk]), typed)

    assert again.status_code == 422
    assert "changed or retired meanwhile" in again.content.decode()
    assert Mix.objects.filter(retired_at=None).count() == 1


def test_mix_needs_a_prize_and_a_name_of_its_own(owner_client, owner, noon):
    bear = factories.PrizeFactory()
    goods.make_mix(name="Plush", lines=[(bear, 30)], by=owner, at=noon)

    empty = owner_client.post(reverse("mix-add"), {"name": "Other", f"prize-{bear.pk}": "0"})
    taken = owner_client.post(reverse("mix-add"), {"name": "Plush", f"prize-{bear.pk}": "5"})

    assert "A mix needs at least one prize" in empty.content.decode()
    assert "There is a mix named “Plush” already" in taken.content.decode()
    assert Mix.objects.count() == 1


def test_retired_mix_is_offered_no_longer(owner_client, owner, noon):
    mix = goods.make_mix(name="Plush", lines=[(factories.PrizeFactory(), 30)], by=owner, at=noon)

    owner_client.post(reverse("mix-retire", args=[mix.pk]))
    again = owner_client.post(reverse("mix-retire", args=[mix.pk]), follow=True)

    assert again.context["table"].rows == []
    assert "changed or retired meanwhile" in again.content.decode()


def test_store_and_van_are_added(owner_client, route_hand):
    owner_client.post(reverse("place-add"), {"kind": "store", "name": "Back room"})
    owner_client.post(reverse("place-add"), {"kind": "van", "name": "Blue van", "person": route_hand.pk})

    assert list(Place.objects.values_list("kind", "name", "person")) == [
        ("store", "Back room", None),
        ("van", "Blue van", route_hand.pk),
    ]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"kind": "van", "name": "Red van"}, "A van belongs to one person"),
        ({"kind": "store", "name": "Attic", "person": "tomas"}, "A van belongs to one person"),
        ({"kind": "van", "name": "Red van", "person": "tomas"}, "has a van already"),
        ({"kind": "store", "name": "Blue van"}, "There is a place named"),
        ({"kind": "cabinet", "name": "Red van"}, "Select a valid choice"),
        ({"kind": "store", "name": ""}, "This field is required"),
        ({"kind": "van", "name": "Red van", "person": "987654"}, "Select a valid choice"),
    ],
)
def test_place_that_does_not_fit_is_explained(owner_client, owner, route_hand, noon, typed, words):
    goods.add_place(kind="van", name="Blue van", person=route_hand, by=owner, at=noon)
    person = {"person": route_hand.pk} if typed.get("person") == "tomas" else {}

    response = owner_client.post(reverse("place-add"), {**typed, **person})

    assert response.status_code == 422
    assert words in response.content.decode()
    assert Place.objects.count() == 1


def test_van_is_given_to_somebody_else(owner_client, owner, route_hand, noon):
    van = goods.add_place(kind="van", name="Blue van", person=route_hand, by=owner, at=noon)

    owner_client.post(reverse("place-edit", args=[van.pk]), {"name": "Old van", "person": owner.pk})

    van.refresh_from_db()
    assert (van.name, van.person) == ("Old van", owner)


def test_places_beyond_us_and_cabinets_cannot_be_renamed(owner_client, noon):
    players, cabinet = actions.beyond(PlaceKind.PLAYERS), actions.cabinet_place(factories.MachineFactory())

    for place in (players, cabinet):
        assert owner_client.get(reverse("place-edit", args=[place.pk])).status_code == 404


@pytest.mark.parametrize("address", ["prize-edit", "mix-edit", "mix-retire", "place-edit"])
@pytest.mark.parametrize("number", [987654, 10**30])
def test_what_does_not_exist_is_not_found(owner_client, address, number):
    assert owner_client.post(reverse(address, args=[number])).status_code == 404


def test_cabinet_renamed_leaves_its_old_code_to_another(owner_client, owner, noon):
    bear, first = factories.PrizeFactory(name="Bear"), factories.MachineFactory(code="C-001")
    actions.cabinet_place(first)
    said = {"model": first.model_id, "serial": "", "notes": ""}
    owner_client.post(reverse("cabinet-edit", args=["C-001"]), {"code": "C-009", **said})
    second = factories.MachineFactory(code="C-001")

    counted = {"uuid": uuid4(), "at": "", f"prize-{bear.pk}": "3", "reason": ""}
    response = owner_client.post(f"{reverse('stock-count')}?cabinet=C-001", counted)

    names = dict(Place.objects.filter(kind="cabinet").values_list("machine", "name"))
    assert (response.status_code, names) == (302, {first.pk: "Cabinet C-009", second.pk: "Cabinet C-001"})


def test_store_is_not_called_as_a_cabinet_is(owner_client):
    page = owner_client.post(reverse("place-add"), {"kind": "store", "name": "cabinet C-001", "person": ""})

    assert (page.status_code, Place.objects.exists()) == (422, False)
    assert page.context["form"].errors["name"] == ["So the places inside cabinets are called. Choose another name."]


@pytest.mark.django_db
def test_places_of_before_get_the_code_of_their_cabinet_also_where_a_store_was_called_so():
    cabinet = actions.cabinet_place(factories.MachineFactory(code="C-009"))
    Place.objects.filter(pk=cabinet.pk).update(name="Cabinet C-001")
    store = Place.objects.create(kind=PlaceKind.STORE, name="Cabinet C-009")

    import_module("routeapp.migrations.0023_places_of_renamed_cabinets").name_anew(apps, None)

    names = dict(Place.objects.values_list("pk", "name"))
    assert names == {cabinet.pk: "Cabinet C-009", store.pk: "Store Cabinet C-009"}
