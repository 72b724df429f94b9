"""A cabinet from the order to its place: late, broken, claimed, mended with a part by air, tried, placed."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from machines.models import Arrival, Claim, Finding, Machine, Order, Receipt
from tests.factories import CabinetModelFactory, LocationFactory
from tests.machines.arrivals.cast import fields
from tests.machines.purchases.cast import sea_quote

pytestmark = pytest.mark.django_db
AGO = 100  # days since it was ordered; the quote says 60


@pytest.fixture
def model():
    return CabinetModelFactory(arrival_checks="Glass\nTopper", bench_checks="Claw closes", locks="Cash box")


def order_it(client, owner, model):
    quote = sea_quote(owner, model)
    day = timezone.localdate() - timedelta(days=AGO)
    client.post(reverse("quote-order", args=[quote.pk]), {"uuid": uuid4(), "pieces": "1", "ordered_on": day})
    return Order.objects.get()


def take_it_in(client, order, machine):
    address = reverse("arrival-start", args=[order.pk])
    broken = fields(
        client.get(address), machine, unpacked="rest", state_Glass="damaged", note_Glass="cracked", keys_Cash_box="2"
    )
    door = {"listed": "1", "came": "1", "outside": "damaged", "receipt_words": "1 of 1, corner crushed"}
    client.post(address, {"id": str(uuid4()), **door, **broken})
    return Arrival.objects.get()


def claim_it(client, arrival):
    glass = Finding.objects.get(what="Glass")
    said = {
        "uuid": uuid4(), "addressee": "supplier", "name": "Gannet Makers", "regime": "hague",
        "delivered_on": timezone.localdate(), f"take{glass.pk}": "on", f"cents{glass.pk}": "85",
        f"wish{glass.pk}": "part",
    }  # fmt: skip
    client.post(reverse("claim-start", args=[arrival.uuid]), said)
    return Claim.objects.get()


def note(client, claim, step, **said):
    client.post(reverse("claim", args=[claim.uuid]), {"uuid": uuid4(), "step": step, **said})


def try_it(client, machine):
    address = reverse("bench", args=[machine.code])
    checks = {field.name: "fine" for field in client.get(address).context["form"].check_fields()}
    coins = {"coin0_cents": "1", "coin0_tried": "10", "coin0_taken": "10"}
    said = {"uuid": uuid4(), "starts": "yes", "plays": "20", "wins": "2", "labelled": "on"}
    client.post(address, said | checks | coins)


def place_it(client, machine, location):
    said = {"uuid": uuid4(), "at": timezone.localtime().strftime("%Y-%m-%dT%H:%M")}
    return client.post(f"{reverse('placement-assign')}?cabinet={machine.code}&location={location.pk}", said)


def test_a_cabinet_is_ordered_late_broken_claimed_mended_tried_and_placed(owner_client, owner, model):
    location = LocationFactory(time_zone="UTC")
    order = order_it(owner_client, owner, model)
    machine = Machine.objects.get()
    page = owner_client.get(reverse("order", args=[order.pk]))
    late = timezone.localdate() - order.promised_on
    assert (machine.status, late.days, page.context["way"].overdue > 0) == ("ordered", AGO - 60, True)

    arrival = take_it_in(owner_client, order, machine)
    machine.refresh_from_db()
    assert (machine.status, Receipt.objects.live().get().damaged) == ("arrived", 1)
    refused = place_it(owner_client, machine, location)
    assert refused.context["form"].non_field_errors() == [
        "C-001 has not been on the bench yet. Test it, or sign on its bench page why it goes out without."
    ]

    claim = claim_it(owner_client, arrival)
    item = claim.items.get().pk
    note(owner_client, claim, "notice", text="By mail, with photos")
    note(owner_client, claim, "reply", text="A pane goes out by air")
    for step in ("sent", "came", "fitted"):
        note(owner_client, claim, step, item=item)
    page = owner_client.get(reverse("claim", args=[claim.uuid]))
    assert (page.context["stands"].made_good, page.context["stands"].missed) == (85_00, [])
    assert owner_client.get(reverse("arrival", args=[arrival.uuid])).context["unclaimed"] == [
        Finding.objects.get(what="Outside")
    ]

    try_it(owner_client, machine)
    place_it(owner_client, machine, location)
    machine.refresh_from_db()
    assert (machine.status, machine.placements.get().location) == ("placed", location)
    assert [change.status for change in machine.status_changes.order_by("pk")] == [
        "ordered", "arrived", "ready", "placed",
    ]  # fmt: skip
