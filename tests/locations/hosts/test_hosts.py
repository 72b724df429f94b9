"""Hosts and contacts: written down, found again, called from the page."""

import pytest
from django.contrib.admin.models import LogEntry
from django.db import IntegrityError, transaction
from django.urls import reverse

from locations.models import Contact, Host
from tests.factories import HostFactory, LocationFactory, PlacementFactory


@pytest.fixture
def mill(db):
    return HostFactory(name="Old Mill Bakery")


def odile(**changed):
    return {"name": "Odile Farrow", "role": "manager", "phone": "+1 555 0134", "email": "odile@mill.example"} | changed


def test_empty_list_teaches_the_first_step(owner_client):
    page = owner_client.get(reverse("hosts")).content.decode()
    assert "Add the first host" in page


def test_added_host_opens_its_page_and_stands_in_the_log(owner_client):
    response = owner_client.post(reverse("host-add"), {"name": "Old Mill Bakery", "notes": "Two shops."})
    host = Host.objects.get()
    assert (host.name, host.notes) == ("Old Mill Bakery", "Two shops.")
    assert response.url == reverse("host", args=[host.pk])
    assert LogEntry.objects.get().change_message == "added host"


def test_host_sent_twice_is_one(owner_client):
    form = {"name": "Old Mill Bakery", "notes": ""}
    first, second = (owner_client.post(reverse("host-add"), form) for _ in range(2))
    assert Host.objects.count() == 1
    assert first.url == second.url


@pytest.mark.parametrize("name", ["Old Mill Bakery", "old mill BAKERY"])
def test_second_host_of_the_same_name_is_refused_and_kept_in_the_form(owner_client, mill, name):
    response = owner_client.post(reverse("host-add"), {"name": name, "notes": "another one"})
    assert response.status_code == 422
    assert response.context["form"].errors == {"name": ["There is already a host named Old Mill Bakery."]}
    assert "another one" in response.content.decode()


@pytest.mark.parametrize("name", ["", "   ", "x" * 121, "Mill\x00"])
def test_unusable_name_is_said_at_the_field(owner_client, name):
    response = owner_client.post(reverse("host-add"), {"name": name})
    assert response.status_code == 422
    assert set(response.context["form"].errors) == {"name"}
    assert Host.objects.count() == 0


def test_form_without_any_field_is_answered_with_what_is_missing(owner_client):
    assert owner_client.post(reverse("host-add"), {}).status_code == 422


def test_host_can_be_renamed_but_not_to_a_taken_name(owner_client, mill):
    HostFactory(name="Tide Street Arcade")
    address = reverse("host-edit", args=[mill.pk])
    assert owner_client.post(address, {"name": "Tide Street Arcade"}).status_code == 422
    assert owner_client.post(address, {"name": "Old Mill", "notes": ""}).status_code == 302
    mill.refresh_from_db()
    assert mill.name == "Old Mill"


def test_host_page_calls_and_writes_to_contacts_and_leads_to_locations(hand_client, mill):
    Contact.objects.create(host=mill, **odile())
    location = LocationFactory(host=mill, name="Mill Lane")
    PlacementFactory(location=location)
    page = hand_client.get(reverse("host", args=[mill.pk])).content.decode()
    assert 'href="tel:+15550134"' in page
    assert 'href="mailto:odile@mill.example"' in page
    assert f'href="{reverse("location", args=[location.pk])}"' in page
    assert "1 cabinet<" in page


def test_contact_is_added_once_changed_and_removed(hand_client, mill):
    for _ in range(2):
        response = hand_client.post(reverse("contact-add", args=[mill.pk]), odile())
        assert response.url == reverse("host", args=[mill.pk])
    contact = Contact.objects.get()
    address = reverse("contact-edit", args=[contact.pk])
    hand_client.post(address, odile(role="owner"))
    contact.refresh_from_db()
    assert contact.role == "owner"
    hand_client.post(address, {"remove": "1"})
    assert Contact.objects.count() == 0
    assert LogEntry.objects.filter(change_message="removed contact").count() == 1


@pytest.mark.parametrize(("field", "value"), [("phone", "ask Odile"), ("email", "odile at mill"), ("name", "")])
def test_contact_that_cannot_be_reached_is_questioned(owner_client, mill, field, value):
    response = owner_client.post(reverse("contact-add", args=[mill.pk]), odile(**{field: value}))
    assert response.status_code == 422
    assert set(response.context["form"].errors) == {field}


def test_hosts_are_found_by_name_and_by_contact(owner_client, mill):
    Contact.objects.create(host=mill, **odile())
    HostFactory(name="Tide Street Arcade")
    found = {text: owner_client.get(reverse("hosts"), {"q": text}).context["table"].rows for text in ("mill", "farrow")}
    assert found == {"mill": [mill], "farrow": [mill]}


def test_filter_sends_only_the_rows_to_htmx(owner_client, mill):
    rows = owner_client.get(reverse("hosts"), {"q": "mill"}, headers={"HX-Request": "true"}).content.decode()
    assert "Old Mill Bakery" in rows
    assert "<html" not in rows


@pytest.mark.parametrize("text", ["\x00", "%", "a " * 3000, "’"])
def test_odd_searches_find_nothing_and_break_nothing(owner_client, text):
    assert owner_client.get(reverse("hosts"), {"q": text}).status_code == 200


def test_contact_added_beside_two_that_became_the_same_changes_nothing(owner_client, mill):
    for name in ("Odile Farrow", "Odile"):
        owner_client.post(reverse("contact-add", args=[mill.pk]), odile(name=name))
    owner_client.post(reverse("contact-edit", args=[Contact.objects.get(name="Odile").pk]), odile())

    assert owner_client.post(reverse("contact-add", args=[mill.pk]), odile()).status_code == 302
    assert Contact.objects.count() == 2


@pytest.mark.parametrize("name", ["host", "host-edit", "contact-add", "contact-edit"])
@pytest.mark.parametrize("pk", [0, 987654, 10**30])
def test_unknown_numbers_are_not_found(owner_client, name, pk):
    assert owner_client.get(reverse(name, args=[pk])).status_code == 404


def test_list_takes_as_many_queries_for_three_as_for_one(owner_client, mill, queries_of):
    Contact.objects.create(host=mill, **odile())
    one = queries_of(owner_client, reverse("hosts"))
    for host in HostFactory.create_batch(2):
        Contact.objects.create(host=host, **odile())
    assert queries_of(owner_client, reverse("hosts")) == one


def test_host_page_takes_as_many_queries_for_three_locations_as_for_one(owner_client, mill, queries_of):
    address = reverse("host", args=[mill.pk])
    PlacementFactory(location__host=mill)
    one = queries_of(owner_client, address)
    PlacementFactory.create_batch(2, location__host=mill)
    assert queries_of(owner_client, address) == one


def test_database_holds_one_host_of_a_name(mill):
    with pytest.raises(IntegrityError), transaction.atomic():
        Host.objects.create(name=mill.name)
