"""Somebody goes back to a form that was sent and types something else: it is never told to be kept while it is not."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.urls import reverse

from machines.parts.queries import shelves
from routeapp.kit.once import ANOTHER
from routeapp.models import Driver
from tests.stories import bad_input

pytestmark = pytest.mark.django_db
DAY, SOON = "2026-03-10", f"{datetime.now(UTC) + timedelta(days=5):%Y-%m-%d}"
LINES = {"line-TOTAL_FORMS": 1, "line-INITIAL_FORMS": 0, "line-0-new_name": "Otter", "line-0-cost_cents": "9"}
QUOTE = {
    "what": "Claw", "received_on": DAY, "currency": "USD", "term": "EXW", "mode": "road", "customs": "none",
    "made_days": "9", "transit_days": "9", "kg_per_m3": "1000", "cost-TOTAL_FORMS": 0, "cost-INITIAL_FORMS": 0,
    "price-TOTAL_FORMS": 1, "price-INITIAL_FORMS": 0, "price-0-from_pieces": "1", "price-0-unit_cents": "480",
}  # fmt: skip
CHOICE = {"in_service_on": DAY, "method": "straight", "convention": "test"}
# What is typed first, and what else is typed then.
CASES = [
    ("location-account", {"cents": "5", "means": "own", "day": DAY, "note": "x", "although": "on"}, {"cents": "6"}),
    ("expense-add", {"cents": "5", "what": "Oil", "category": "parts", "day": DAY, "paid_from": "bank"}, {"cents": 6}),
    ("refund-add", {"cents": "5", "paid_from": "owner", "note": "Ada"}, {"cents": "6"}),
    (
        "trip-add",
        {"driver": "me", "day": DAY, "way": "a – b", "purpose": "Visits", "tenths": "9", "unit": "mi"},
        {"tenths": "8"},
    ),
    ("delivery-add", {**LINES, "to_place": "store", "line-0-pieces": "4"}, {"line-0-pieces": "5"}),
    ("stock-count?store", {"reason": "not known", "prize": 4}, {"prize": 5}),
    ("stock-move?store", {"from_place": "store", "to_place": "van", "prize": 1}, {"prize": 2}),
    ("quote-add", {**QUOTE, "supplier": "supplier"}, {"price-0-unit_cents": "481"}),
    ("quote-order", {"pieces": "2", "ordered_on": DAY}, {"pieces": "3"}),
    ("order-unordered", {"supplier": "supplier", "what": "Claws", "pieces": "2"}, {"pieces": "3"}),
    ("bench", {"starts": "yes", "plays": "9", "wins": "1"}, {"wins": "2"}),
    ("bench-let-go", {"reason": "It worked before"}, {"reason": "The host waits"}),
    ("depreciation-choose", {**CHOICE, "cost_cents": "900", "life_years": "5"}, {"life_years": "6"}),
    ("plan-start", {"drivers": "driver", "first_day": SOON, "days": "1", "seconds": "1"}, {"days": "2"}),
    ("order-payment", {"invoice_cents": "5", "cents": "4"}, {"invoice_cents": "6"}),
    ("part", {"pieces": "3", "happened": "came", "place": "shelf", "cost_cents": "5"}, {"pieces": "4"}),
    ("key-hand-over", {"held": "safe", "note": "x"}, {"held": "lost"}),
    ("claim", {"step": "paid", "cents": "5"}, {"cents": "6"}),
    ("fault-add", {"text": "It hums", "via": "office"}, {"text": "It hums and smells"}),
    ("to-do-add", {"errand": "bring", "text": "A lamp"}, {"text": "A lamp and a bulb"}),
    ("card-reader-add", {"serial": "R7", "machine": "cabinet"}, {"serial": "R8"}),
    ("bank-statement-add", {"file": "one"}, {"file": "two"}),
    ("card-statement-add", {"file": "one"}, {"file": "two"}),
    ("imports", {"file": "one"}, {"file": "two"}),
]


@pytest.fixture
def send(owner, owner_client):
    world = bad_input.make_everything(owner)
    known = bad_input.kwargs_of(world)
    meant = {
        "me": owner.pk,
        "van": world.van.pk,
        "store": world.store.pk,
        "shelf": shelves().first().pk,
        "cabinet": world.machine.pk,
        "driver": Driver.objects.get().pk,
        "supplier": world.bought["supplier"]["pk"],
    }
    prize = f"prize-{world.prizes[0].pk}"

    def post(name, said):
        address, _, place = name.partition("?")
        data = {key.replace("prize", prize): meant.get(value, value) for key, value in said.items()}
        if "file" in said:
            data["file"] = SimpleUploadedFile(f"{said['file']}.csv", b"Date,Amount\n2026-03-05,5\n")
        query = f"?place={place and world.store.pk}"
        return owner_client.post(reverse(address, kwargs=known.get(address, {})) + query, data)

    return post


def test_what_is_typed_into_a_form_that_was_sent_is_not_lost(send):
    wrong = []
    for name, said, other in CASES:
        said["uuid"] = uuid4()
        with transaction.atomic():
            before = bad_input.rows()
            first = send(name, said).status_code
            kept = bad_input.rows()
            again, another = send(name, said).status_code, send(name, said | other)
            words = ANOTHER in another.text
            if (first, again, another.status_code, words) != (302, 302, 422, True) or kept == before:
                wrong.append((name, first, again, another.status_code))
            if bad_input.rows() != kept:
                wrong.append((name, "written twice"))
            transaction.set_rollback(True)
    assert wrong == []
