"""The business page, Setup, and the log of who did what."""

import pytest
from django.contrib.admin.models import LogEntry
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from routeapp.kit import audit
from routeapp.models import Business, Prize
from routeapp.team.views import LOG
from tests.factories import MachineFactory, person

LAMPLIGHT = {
    "name": "Lamplight",
    "currency": "EUR",
    "time_zone": "Europe/Lisbon",
    "units": "metric",
    "contact": "0123 456",
}


def test_business_is_made_on_the_first_save(owner_client):
    assert owner_client.post("/business/", LAMPLIGHT).headers["Location"] == "/setup/"
    assert Business.objects.values(*LAMPLIGHT).get() == LAMPLIGHT


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"name": ""}, "name"),
        ({"name": "x" * 121}, "name"),
        ({"currency": "XXX"}, "currency"),
        ({"time_zone": "../etc/passwd"}, "time_zone"),
        ({"contact": "x" * 201}, "contact"),
        ({"contact": "nul\0"}, "contact"),
    ],
)
def test_business_is_refused_and_the_field_is_named(owner_client, changed, field):
    answer = owner_client.post("/business/", {**LAMPLIGHT, **changed})
    assert (answer.status_code, list(answer.context["form"].errors)) == (422, [field])
    assert not Business.objects.exists()


def test_currency_stays_once_a_cabinet_has_a_price(owner_client):
    MachineFactory()
    answer = owner_client.post("/business/", LAMPLIGHT)
    assert answer.context["form"].errors == {"currency": ["Prices and takes are kept in USD, so the currency stays."]}


@pytest.mark.parametrize(
    ("role", "ways"),
    [
        ("owner", ["/business/", "/people/", "/audit/"]),
        ("bookkeeper", ["/audit/"]),
        ("route hand", []),
    ],
)
def test_setup_shows_each_role_its_own_ways(client, db, role, ways):
    client.force_login(person("sam", role), backend="django.contrib.auth.backends.ModelBackend")
    page = client.get("/setup/").content.decode()
    assert [address for address in ("/business/", "/people/", "/audit/") if f'href="{address}"' in page] == ways


def said(answer):
    return [(line.user.username, line.change_message, line.object_repr) for line in answer.context["table"].rows]


def test_log_names_who_did_what(owner_client, owner):
    owner_client.post("/business/", LAMPLIGHT)
    owner_client.post(f"/people/{owner.pk}/", {"name": "Ines", "role": "owner", "active": "on", "password": ""})
    assert said(owner_client.get("/audit/")) == [
        ("ines", "changed: owner, may sign in", "ines"),
        ("ines", "changed the business", "Lamplight"),
    ]


def test_log_never_shows_a_password(owner_client, owner):
    new = {"name": "Ines", "role": "owner", "active": "on", "password": "a tin of blue buttons"}
    owner_client.post(f"/people/{owner.pk}/", new)
    assert said(owner_client.get("/audit/")) == [("ines", "changed: owner, may sign in, new password", "ines")]


def test_log_of_one_person(owner_client, owner, route_hand, noon):
    audit.record("counted", owner, by=owner, at=noon)
    audit.record("loaded", owner, by=route_hand, at=noon)
    assert said(owner_client.get(f"/audit/?person={route_hand.pk}")) == [("tomas", "loaded", "ines")]


def test_log_is_read_page_by_page(owner_client, owner, noon):
    for number in range(LOG.rows_a_page + 1):
        audit.record(f"did {number}", owner, by=owner, at=noon)
    first = owner_client.get("/audit/")
    assert len(said(first)) == LOG.rows_a_page
    last = owner_client.get(f"/audit/?page={first.context['table'].after}")
    assert (said(last), last.context["table"].after) == ([("ines", "did 0", "ines")], 0)


@pytest.mark.parametrize("query", ["person=x", "person=99999", "person=%00", "page=x", f"page={10**40}", "page="])
def test_unreadable_filter_counts_as_none(owner_client, owner, noon, query):
    audit.record("counted", owner, by=owner, at=noon)
    assert len(said(owner_client.get(f"/audit/?{query}"))) == 1


def test_log_asks_the_same_for_one_line_and_for_three(owner_client, owner, route_hand, noon, django_assert_num_queries):
    audit.record("counted", owner, by=owner, at=noon)
    with CaptureQueriesContext(connection) as one:
        owner_client.get("/audit/")
    audit.record("counted", owner, by=route_hand, at=noon)
    audit.record("counted", Business.objects.create(name="Lamplight", pk=1), by=owner, at=noon)
    with django_assert_num_queries(len(one)):
        owner_client.get("/audit/")
    assert LogEntry.objects.count() == 3


def test_business_that_measures_in_inches_types_and_sees_them(owner_client):
    owner_client.post("/business/", {**LAMPLIGHT, "units": "customary"})
    owner_client.post(reverse("prize-add"), {"name": "Frog", "low_at": "0", "size_mm": "1.6"})
    frog = Prize.objects.get()
    field = owner_client.get(reverse("prize-edit", args=[frog.pk])).context["form"]["size_mm"]
    assert (frog.size_mm, field.label, str(field.value())) == (41, "Longest side (in)", "1.6")
