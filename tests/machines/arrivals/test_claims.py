"""Claims from findings to what was made good, and what they say about a supplier."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from machines.arrivals import queries_claims
from machines.arrivals.actions_claims import note_step
from machines.models import Claim, ClaimItem, ClaimStep, Finding, Supplier
from routeapp.pages import queries_today
from tests.machines.arrivals.cast import claimed, machines_of, order_of_two, received
from tests.machines.counting import queries_of
from tests.machines.purchases.cast import supplier

pytestmark = pytest.mark.django_db
CAME = datetime(2026, 7, 1, 12, tzinfo=UTC)


@pytest.fixture
def arrival(owner):
    return received(order_of_two(owner), owner, CAME)


@pytest.fixture
def claim(arrival, owner):
    return claimed(arrival, owner, CAME)


def stands(claim, on):
    return queries_claims.standing(queries_claims.claims().get(pk=claim.pk), on, "UTC")


def step(claim, owner, name, days, **said):
    at = CAME + timedelta(days=days)
    return note_step(uuid=uuid4(), claim=claim, step=name, by=owner, at=at, received_at=at, **said)


def test_findings_become_a_claim_in_one_step(hand_client, arrival):
    Supplier.objects.update(promise_days=14)
    address = reverse("claim-start", args=[arrival.uuid])
    form = hand_client.get(address).context["form"]
    known = {name: form.get_initial_for_field(form.fields[name], name) for name in form.fields}
    sent = {name: value for name, value in known.items() if value is not None}
    glass = Finding.objects.get(what="Glass")
    others = {f"take{one.pk}": "" for one in form.findings if one != glass}
    hand_client.post(address, sent | others | {f"cents{glass.pk}": "85.00", f"take{glass.pk}": "on", "note": ""})
    made = Claim.objects.get()
    assert (made.name, made.regime, made.promise_days, made.delivered_on) == (
        "Gannet Makers", "promise", 14, CAME.date(),
    )  # fmt: skip
    assert [(item.finding, item.cents, item.wish) for item in made.items.all()] == [(glass, 8500, "part")]


def test_nothing_ticked_and_no_amount_are_refused_with_words(hand_client, arrival):
    address = reverse("claim-start", args=[arrival.uuid])
    glass = Finding.objects.get(what="Glass")
    said = {"uuid": uuid4(), "addressee": "carrier", "name": "Skua", "regime": "hague", "delivered_on": "2026-07-01"}
    nothing = hand_client.post(address, said)
    assert nothing.context["form"].non_field_errors() == ["Tick what is claimed."]
    no_amount = hand_client.post(address, said | {f"take{glass.pk}": "on"})
    assert no_amount.context["form"].errors == {f"cents{glass.pk}": ["Say what it is worth; 0 if it costs nothing."]}
    assert Claim.objects.count() == 0


def test_the_next_period_to_keep_is_the_first_that_runs(claim, owner):
    assert stands(claim, date(2026, 7, 2)).next_deadline.on == date(2026, 7, 4)
    step(claim, owner, "notice", 2)
    after = stands(claim, date(2026, 7, 9))
    assert (after.next_deadline.what, after.next_deadline.on, after.missed) == ("Suit", date(2027, 7, 1), [])


@pytest.mark.parametrize(
    ("delivered", "hurries"),
    [(0, ["ends in 3 days"]), (4, ["has passed"]), (370, ["has passed"])],
)
def test_today_names_a_claim_whose_period_ends(owner, arrival, delivered, hurries):
    today = timezone.localdate()
    claim = claimed(arrival, owner, CAME, delivered_on=today - timedelta(days=delivered))
    needs = dict(queries_today.today(timezone.now(), "UTC").needs)["Claims that run out"]
    assert [need.why.partition(", ")[2].rstrip(".") for need in needs] == hurries
    note_step(uuid=uuid4(), claim=claim, step="closed", by=owner, at=CAME, received_at=CAME)
    assert "Claims that run out" not in dict(queries_today.today(timezone.now(), "UTC").needs)


def test_a_notice_sent_too_late_stays_told(claim, owner):
    step(claim, owner, "notice", 5)
    assert [one.what for one in stands(claim, date(2026, 7, 9)).missed] == ["Notice in writing of damage not apparent"]


def test_a_replacement_is_made_good_once_it_is_fitted(claim, owner):
    item = claim.items.first()
    for name, days in [("claim", 1), ("reply", 4), ("sent", 6), ("came", 12)]:
        step(claim, owner, name, days, item=item if name in ("sent", "came") else None)
    assert (stands(claim, CAME.date()).made_good, stands(claim, CAME.date()).items[0].words) == (
        0,
        "The replacement came",
    )
    step(claim, owner, "fitted", 13, item=item)
    assert stands(claim, CAME.date()).made_good == 8500


def test_the_supplier_is_judged_by_what_is_written_down(claim, owner):
    step(claim, owner, "notice", 1)
    step(claim, owner, "reply", 4)
    step(claim, owner, "paid", 20, cents=42_50)
    said = queries_claims.scores([stands(claim, date(2026, 8, 1))], "UTC")[0]
    assert (said.supplier, said.cabinets, said.damaged, said.claims) == (Supplier.objects.get(), 1, 1, 1)
    assert (said.deliveries, said.late_days, said.landed_cents is None) == (1, -2, False)
    assert (said.reply_days, said.asked, said.made_good, said.good_share) == (3.0, 85_00, 42_50, 5_000)


@pytest.mark.parametrize(
    ("said", "field", "words"),
    [
        ({"step": "sent"}, "item", "Say which replacement it is about."),
        ({"step": "paid"}, "cents", "Say how much they paid."),
    ],
)
def test_a_step_that_lacks_something_is_refused_with_words(hand_client, claim, said, field, words):
    answer = hand_client.post(reverse("claim", args=[claim.uuid]), {"uuid": uuid4(), **said})
    assert (answer.status_code, answer.context["form"].errors[field]) == (422, [words])


def test_a_closed_claim_takes_no_more_steps(hand_client, claim, owner):
    step(claim, owner, "closed", 3)
    answer = hand_client.post(reverse("claim", args=[claim.uuid]), {"uuid": uuid4(), "step": "reply"})
    assert answer.context["form"].non_field_errors() == ["This claim is closed. Raise another one for what is new."]


def test_the_same_step_twice_is_one(hand_client, claim):
    said = {"uuid": uuid4(), "step": "notice", "text": "By mail"}
    for _ in range(2):
        hand_client.post(reverse("claim", args=[claim.uuid]), said)
    assert ClaimStep.objects.count() == 1


def test_the_paper_is_a_pdf(hand_client, claim):
    answer = hand_client.get(reverse("claim-pdf", args=[claim.uuid]))
    assert (answer["Content-Type"], answer.content[:5]) == ("application/pdf", b"%PDF-")


def test_the_paper_of_an_order_with_an_odd_number_is_a_file_too(hand_client, claim, arrival):
    arrival.order.number = 'A\r\nX-Made-Up: 1"/7'
    arrival.order.save()
    answer = hand_client.get(reverse("claim-pdf", args=[claim.uuid]))
    assert answer["Content-Disposition"] == 'inline; filename="claim-a-x-made-up-17.pdf"'


def test_the_paper_is_made_without_a_photo_whose_file_is_gone(hand_client, claim, arrival):
    with_photo = len(hand_client.get(reverse("claim-pdf", args=[claim.uuid])).content)
    arrival.photos.get().file.storage.delete(arrival.photos.get().file.name)
    assert len(hand_client.get(reverse("claim-pdf", args=[claim.uuid])).content) < with_photo


def test_the_list_asks_as_often_for_three_as_for_one(hand_client, claim, arrival, owner):
    one = queries_of(hand_client, reverse("claims"))
    for name in ("Tern Works", "Skua Works"):
        claimed(arrival, owner, CAME)
        supplier(name)
    assert queries_of(hand_client, reverse("claims")) == one


def test_the_database_refuses(claim, arrival, owner):
    facts = {"by": owner, "at": CAME, "received_at": CAME}
    item = claim.items.first()
    said = {"arrival": arrival, "addressee": "supplier", "name": "A", "delivered_on": CAME.date(), **facts}
    for name, make in [
        ("claim_promise_has_its_days", lambda: Claim(uuid=uuid4(), regime="promise", **said)),
        ("claim_item_once_per_finding|claimitem.claim_id", lambda: ClaimItem(
            claim=claim, finding=item.finding, cents=1, wish="part")),
        ("claim_step_of_a_replacement_names_it", lambda: ClaimStep(uuid=uuid4(), claim=claim, step="sent", **facts)),
        ("claim_step_payment_has_its_amount", lambda: ClaimStep(uuid=uuid4(), claim=claim, step="paid", **facts)),
    ]:  # fmt: skip
        with pytest.raises(IntegrityError, match=name), transaction.atomic():
            make().save()
    assert len(machines_of(arrival.order)) == 2
