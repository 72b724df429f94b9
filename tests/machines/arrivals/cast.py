"""A delivery of three cabinets, as the page at the door and a phone tell of it."""

import io
import json
from datetime import UTC, datetime
from uuid import uuid4

from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from machines.arrivals.actions import Door, Line, Photographed, Spare, Told, Unpacked, record_arrival
from machines.arrivals.actions_claims import Asked, raise_claim
from machines.models import Finding, Lock, Machine, Part
from tests import factories
from tests.machines.purchases import cast as buying


def _jpeg():
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "brown").save(out, "JPEG")
    return out.getvalue()


JPEG = _jpeg()


def order_of_two(owner):
    """Two cabinets ordered by sea, with locks and two lines to look at."""
    model = factories.CabinetModelFactory(arrival_checks="Glass\nTopper", locks="Cash box", weight_kg=120)
    return buying.ordered(owner, buying.sea_quote(owner, model), pieces=2)


def machines_of(order):
    return list(Machine.objects.filter(bought__line__order=order).order_by("code"))


def door(**changed):
    return {"listed": "2", "came": "2", "outside": "fine", "carrier": "Skua Freight", **changed}


def fields(sheet_page, machine, **told):
    """Fields of one cabinet by what they are about: state_Glass="damaged", note_Glass="cracked", keys_Cash_box="2"."""
    form = next(one for one in sheet_page.context["sheet"].cabinets if one.machine == machine)
    names = {f"{field.name.split('_')[0]}_{what}": field.html_name for what, field in _lines(form)}
    return {names.get(name, form.add_prefix(name)): value for name, value in told.items()}


def _lines(form):
    for what, (state, note, picture) in zip(form.checks, form.rows(), strict=True):
        yield from ((what.replace(" ", "_"), field) for field in (state, note, picture))
    yield from zip([name.replace(" ", "_") for name in form.locks], form.key_fields(), strict=True)


def photo():
    out = io.BytesIO()
    Image.new("RGB", (8, 6), "green").save(out, "PNG")
    return SimpleUploadedFile("crate.png", out.getvalue(), content_type="image/png")


def send(client, order, typed, *, uuid=None, photos=None, saved=datetime(2026, 6, 1, 12, tzinfo=UTC), **more):
    """What a phone sends: `photos` are files by (id, machine pk or 0)."""
    photos = photos or {}
    document = {
        "id": str(uuid or uuid4()), "order": order.pk, "saved_at": saved.isoformat(), "fields": typed,
        "photos": {str(name): machine for name, (machine, _) in photos.items()}, **more,
    }  # fmt: skip
    files = {str(name): file for name, (_, file) in photos.items()}
    return client.post(reverse("sync-arrivals"), {"document": json.dumps(document), **files})


def told(order, machine, *, uuid=None, lines=(("Glass", "damaged", "cracked"), ("Topper", "fine", ""))):
    """What the page at the door says of one cabinet."""
    return Told(
        uuid=uuid or uuid4(),
        fingerprint="",
        order=order,
        door=Door("Skua Freight", 2, 2, "damaged", "Crate 1: corner crushed"),
        cabinets=[Unpacked(machine, [Line(*line) for line in lines], "GM-1", {"Cash box": 2})],
        spares=[Spare("Claw coil", 3, 2)],
        typed=door(outside="damaged", receipt_words="Crate 1: corner crushed"),
    )


def received(order, by, at, **changed):
    """The delivery of an order whose first cabinet came broken."""
    said = told(order, machines_of(order)[0], **changed)
    pictures = {uuid4(): Photographed(JPEG)}
    return record_arrival(told=said, photos=pictures, by=by, at=at, received_at=at)[0]


def claimed(arrival, by, at, **changed):
    """A claim to the supplier for all that was wrong on cabinets."""
    wrong = Finding.objects.filter(arrival=arrival, machine__isnull=False, state__in=["damaged", "missing"])
    said = {
        "addressee": "supplier", "name": "Gannet Makers", "regime": "hague", "delivered_on": at.date(),
        "items": [Asked(one, 85_00, "part") for one in wrong], **changed,
    }  # fmt: skip
    return raise_claim(uuid=uuid4(), arrival=arrival, by=by, at=at, **said)


def lived_through(owner, at):
    """Something for each of these pages to show: the variable parts of their addresses, by noun and by name."""
    order = order_of_two(owner)
    arrival = received(order, owner, at)
    claim = claimed(arrival, owner, at)
    lock = Lock.objects.get()
    made = {
        "arrival": {"uuid": arrival.uuid}, "claim": {"uuid": claim.uuid}, "part": {"pk": Part.objects.get().pk},
        "key": {"pk": lock.pk}, "bench": {"code": machines_of(order)[0].code},
    }  # fmt: skip
    special = {
        "arrival-start": {"pk": order.pk}, "claim-start": made["arrival"],
        "key-hand-over": {"pk": lock.keys.first().pk},
    }  # fmt: skip
    return made, special
