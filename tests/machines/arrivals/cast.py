"""A delivery of three cabinets, as the page at the door and a phone tell of it."""

import io
import json
from datetime import UTC, datetime
from uuid import uuid4

from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from machines.models import Machine
from tests import factories
from tests.machines.purchases import cast as buying


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
    for what, (state, note) in zip(form.checks, form.rows(), strict=True):
        yield from ((what.replace(" ", "_"), state), (what.replace(" ", "_"), note))
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
