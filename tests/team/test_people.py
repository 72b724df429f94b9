"""Adding and editing people, and never losing the last owner."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from routeapp.kit.errors import Refused
from routeapp.team import actions
from tests.factories import PASSWORD, person

NEW = {"username": "greta", "name": "Greta Whin", "role": "bookkeeper", "password": "a tin of blue buttons"}


def roles(user):
    return [group.name for group in user.groups.all()]


def fields(**changed):
    return {"name": "Ines Marlow", "role": "owner", "active": "on", "password": "", **changed}


def test_added_person_can_sign_in_with_the_role(owner_client, django_user_model):
    assert owner_client.post("/people/add/", NEW).headers["Location"] == "/people/"
    greta = django_user_model.objects.get(username="greta")
    assert (greta.get_full_name(), roles(greta)) == ("Greta Whin", ["bookkeeper"])
    assert Client().post("/sign-in/", NEW).status_code == 302


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"username": "INES"}, "username"),
        ({"username": "two words"}, "username"),
        ({"username": ""}, "username"),
        ({"username": "x" * 151}, "username"),
        ({"username": "nul\0"}, "username"),
        ({"name": " "}, "name"),
        ({"name": "x" * 151}, "name"),
        ({"role": "king"}, "role"),
        ({"password": "short"}, "password"),
        ({"password": "password123"}, "password"),
        ({"password": "greta whin1"}, "password"),
        ({"password": "x" * 129}, "password"),
    ],
)
def test_person_is_refused_and_the_field_is_named(owner_client, django_user_model, changed, field):
    answer = owner_client.post("/people/add/", {**NEW, **changed})
    assert (answer.status_code, list(answer.context["form"].errors)) == (422, [field])
    assert django_user_model.objects.count() == 1


def test_second_click_adds_nobody_twice(owner_client, django_user_model):
    answers = [owner_client.post("/people/add/", NEW).status_code for _ in range(2)]
    assert (answers, django_user_model.objects.filter(username="greta").count()) == ([302, 422], 1)


def test_last_owner_stays_owner(owner_client, owner):
    for changed, field in (({"role": "route hand"}, "role"), ({"active": ""}, "active")):
        answer = owner_client.post(f"/people/{owner.pk}/", fields(**changed))
        assert answer.status_code == 422
        assert answer.context["form"].errors == {
            field: ["This is the only owner who can sign in. Make somebody else an owner first."]
        }
    owner.refresh_from_db()
    assert (owner.is_active, roles(owner)) == (True, ["owner"])


def test_owner_may_step_down_beside_another(owner_client, owner):
    person("lena", "owner")
    owner_client.post(f"/people/{owner.pk}/", fields(role="bookkeeper"))
    assert roles(owner) == ["bookkeeper"]


def test_owner_who_may_not_sign_in_does_not_count(owner_client, owner, noon):
    lena = person("lena", "owner")
    actions.edit_person(person=lena, name="Lena", role="owner", active=False, by=owner, at=noon)
    with pytest.raises(Refused):
        actions.edit_person(person=owner, name="Ines", role="bookkeeper", active=True, by=lena, at=noon)


def test_own_new_password_keeps_this_device_signed_in(owner_client, owner):
    owner_client.post(f"/people/{owner.pk}/", fields(password="a tin of blue buttons"))
    owner.refresh_from_db()
    assert owner.check_password("a tin of blue buttons")
    assert owner_client.get("/people/").status_code == 200


def test_new_password_signs_the_person_out_elsewhere(owner_client, route_hand):
    phone = Client()
    phone.force_login(route_hand, backend="django.contrib.auth.backends.ModelBackend")
    changed = fields(name="Tomas", role="route hand", password="a tin of blue buttons")
    owner_client.post(f"/people/{route_hand.pk}/", changed)
    assert phone.get("/setup/").status_code == 302


def test_password_left_empty_stays(owner_client, owner):
    owner_client.post(f"/people/{owner.pk}/", fields())
    owner.refresh_from_db()
    assert (owner.get_full_name(), owner.check_password(PASSWORD)) == ("Ines Marlow", True)


@pytest.mark.parametrize("pk", [987654, 10**30])
def test_person_nobody_knows_is_not_found(owner_client, pk):
    assert owner_client.get(f"/people/{pk}/").status_code == 404


def test_list_asks_the_same_for_one_and_for_three(owner_client, django_assert_num_queries):
    with CaptureQueriesContext(connection) as one:
        owner_client.get("/people/")
    person("lena", "owner")
    person("sam", "route hand")
    with django_assert_num_queries(len(one)):
        owner_client.get("/people/")


def test_anybody_changes_the_own_password_and_stays_signed_in(hand_client, route_hand):
    answer = hand_client.post("/people/password/", {"old": PASSWORD, "password": "a tin of blue buttons"})
    assert answer.headers["Location"] == "/setup/"
    assert hand_client.get("/setup/").status_code == 200
    signs_in = {"username": route_hand.username, "password": "a tin of blue buttons"}
    assert Client().post("/sign-in/", signs_in).status_code == 302


@pytest.mark.parametrize(
    ("changed", "field"),
    [({"old": "not mine at all"}, "old"), ({"password": "short"}, "password"), ({"old": ""}, "old")],
)
def test_own_password_stays_when_the_old_or_the_new_one_will_not_do(hand_client, route_hand, changed, field):
    sent = {"old": PASSWORD, "password": "a tin of blue buttons", **changed}
    answer = hand_client.post("/people/password/", sent)
    assert (answer.status_code, list(answer.context["form"].errors)) == (422, [field])
    assert Client().post("/sign-in/", {"username": route_hand.username, "password": PASSWORD}).status_code == 302
