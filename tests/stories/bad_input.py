"""What hands, programs and broken phones send, and a world with one of everything to aim at."""

import io
import re
from datetime import UTC, date, datetime
from html.parser import HTMLParser
from types import SimpleNamespace
from urllib.parse import quote_plus, urlencode
from uuid import UUID

from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.urls import URLResolver, get_resolver
from PIL import Image

from locations.models import Agreement, Contact, Jurisdiction, TaxRule
from machines.models import ArrivalPhoto, Fault, Label
from machines.papers.actions import add_paper
from routeapp.cash import actions as cash
from routeapp.data.imports.actions import take_file
from routeapp.models import BagCount, Delivery, Mix, MixLine, Place
from routeapp.stock.models import PlaceKind
from tests import factories
from tests.cash.cast import banked
from tests.machines.arrivals.cast import lived_through
from tests.machines.purchases.cast import bought
from tests.planning.lived_in import planned
from tests.settlements.cast import settled_with
from tests.stories.spent import spent_with
from tests.visits.books import document, entry, make_world, record, some_id

# Bytes as they stand in an address or a form body, already percent-encoded.
VALUES = {
    "empty": "",
    "blank": "+",
    "negative": "-1",
    "zero": "0",
    "huge": "9" * 40,
    "endless digits": "1" * 5000,
    "too large for four bytes": "2147483648",
    "too large for eight bytes": "9223372036854775808",
    "power": "1e400",
    "small power": "1e-400",
    "not a number": "NaN",
    "infinity": "Infinity",
    "fraction": "0.001",
    "superscript digit": quote_plus("²"),
    "arabic digit": quote_plus("٣"),
    "nul": "%00",
    "text with nul": "a%00b",
    "lone surrogate": "%ED%A0%80",
    "broken utf-8": "%FF%FE",
    "emoji": quote_plus("🗝🦀"),
    "long": "x" * 100_000,
    "html": quote_plus("\"><script>alert('x')</script>{{ 7|add:7 }}"),
    "sql": quote_plus("' OR 1=1; --"),
    "first day": "0001-01-01",
    "last day": "9999-12-31",
    "first moment": "0001-01-01T00%3A00",
    "last moment": "9999-12-31T23%3A59",
    "no such day": "2026-02-30",
    "in the gap": "2026-03-08T02%3A30",
    "list": quote_plus("[1, 2]"),
    "header": "a%0D%0AX-Made-Up%3A+1",
    "formula": quote_plus("=1+1"),
    "null id": "00000000-0000-0000-0000-000000000000",
}
BUYING = (
    *("supplier", "supplier-edit", "quote", "quote-edit", "quote-order", "order", "order-step", "order-receipt"),
    *("order-cost", "order-payment", "order-paper"),
)
SCRIPT = b"<script>alert("
REFUSED = {400, 403, 404, 405, 409, 413, 422}


def picture():
    file = io.BytesIO()
    Image.new("RGB", (30, 20), "teal").save(file, "JPEG")
    file.seek(0)
    file.name = "photo.jpg"
    return file


def make_everything(owner):
    """One of everything that an address can name."""
    world = make_world(owner)
    who = {"by": owner, "at": factories.LONG_AGO, "received_at": factories.LONG_AGO}
    machine = world.meters[0].machine
    Label.objects.create(machine=machine, code="K7R2M9QX", **who)
    Fault.objects.create(machine=machine, uuid=some_id("fault"), text="Coin jam", via="call", **who)
    host = world.location.host
    contact = Contact.objects.create(host=host, name="Mika")
    agreement = Agreement.objects.create(location=world.location, starts_on=date(2026, 1, 1), **who)
    tax_rule = TaxRule.objects.create(
        jurisdiction=Jurisdiction.objects.create(name="Port County"), valid_from=date(2026, 1, 1), millionths=40_000,
        source="county order 12", **who,
    )  # fmt: skip
    van = Place.objects.create(kind=PlaceKind.VAN, name="Van", person=owner)
    mix = Mix.objects.create(name="Summer")
    MixLine.objects.create(mix=mix, prize=world.prizes[0], quantity=3)
    delivery = Delivery.objects.create(uuid=some_id("delivery"), supplier="Dock", source=some_id("delivery"), **who)
    seal = {"taken": "sealed", "bag": {"id": some_id("seal"), "number": "S-1"}, "estimate_cents": 100}
    photo = some_id("photo")
    parts = [
        entry(world, "a", 0, reading=150, cents=5000, found={0: 3}, loaded={0: 9}, photos=[photo]),
        entry(world, "a", 1, reading=120, cash=seal),
    ]
    paid = {"cents": 500, "received_by": "Mika"}
    now = datetime(2026, 6, 1, tzinfo=UTC)
    raw = document(world, "a", entries=parts, host_payment=paid)
    visit = record(world, raw, photos={UUID(photo): picture().read()}, at=now).visit
    bag = visit.entries.get(machine=world.meters[1].machine).bag
    cash.count_bag(
        uuid=some_id("count"), bag=bag, how="amount", cents=200, lines={}, note="", by=owner, at=now, received_at=now
    )
    received, by_name = lived_through(owner, now)
    by_name |= banked(world)
    settled = settled_with(world.location, owner) | spent_with(world, owner)
    paper = add_paper(
        uuid=UUID(some_id("paper")), model=machine.model, name="Manual", content=b"%PDF-", kind="pdf", by=owner, at=now
    )
    return SimpleNamespace(
        **vars(world), planned=planned(owner, world.location),
        received=received, by_name=by_name | settled, paper=paper, bought=bought(owner, machine.model),
        machine=machine, host=host, contact=contact, agreement=agreement, tax_rule=tax_rule, van=van, mix=mix,
        sheet=a_sheet(owner), delivery=delivery, visit=visit, bag=bag, count=BagCount.objects.get(), photo=photo,
    )  # fmt: skip


def a_sheet(owner):
    """A spreadsheet that was taken to look at."""
    file = SimpleUploadedFile("prizes.csv", b"Prize,Qty\nPlush otter,12\n")
    return take_file(uuid=UUID(some_id("sheet")), file=file, by=owner, at=factories.LONG_AGO)


def kwargs_of(world):
    """What stands in the address of each page, by the name of the page; a name that is missing has no variable."""
    cabinet, location, meter = {"code": world.machine.code}, {"pk": world.location.pk}, {"pk": world.meters[0].pk}
    visit, bag, host = {"uuid": world.visit.pk}, {"pk": world.bag.pk}, {"pk": world.host.pk}
    placement = world.machine.placements.get()
    return {
        **dict.fromkeys(("cabinet", "cabinet-edit", "cabinet-photo", "cabinet-status", "cabinet-settings"), cabinet),
        **dict.fromkeys(("cabinet-price", "cabinet-meters", "meter-add", "fault-add", "label", "label-png"), cabinet),
        **dict.fromkeys(("label-svg", "label-renew", "cabinet-depreciation", "depreciation-choose"), cabinet),
        "cabinet-profit": cabinet,
        "location-profit": location,
        **dict.fromkeys(("meter-replace", "meter-reset"), meter),
        **dict.fromkeys(("location", "location-edit", "location-hours", "location-close"), location),
        **dict.fromkeys(("location-reopen", "agreements", "agreement-add", "visit-start"), location),
        **dict.fromkeys(("host", "host-edit", "contact-add"), host),
        **dict.fromkeys(("visit", "visit-correct", "visit-withdraw", "visit-receipt"), visit),
        **dict.fromkeys(("visit-signature", "visit-times-keep", "visit-times-shift"), visit),
        **dict.fromkeys(("bag", "bag-count", "bag-hand-over", "bag-hold-to-bank"), bag),
        **dict.fromkeys(("delivery", "delivery-withdraw"), {"uuid": world.delivery.uuid}),
        **dict.fromkeys(("mix-edit", "mix-retire"), {"pk": world.mix.pk}),
        **dict.fromkeys(("import", "import-columns", "import-answer"), {"uuid": world.sheet.pk}),
        **dict.fromkeys(("import-bring", "import-undo"), {"uuid": world.sheet.pk}),
        **dict.fromkeys(("model-paper", "model-paper-away"), {"uuid": world.paper.uuid}),
        **dict.fromkeys(("bench", "bench-let-go"), world.received["bench"]),
        **dict.fromkeys(("part", "part-edit"), world.received["part"]),
        **dict.fromkeys(("key-lock", "key-lock-edit"), world.received["key"]),
        **dict.fromkeys(("arrival", "arrival-unpack", "arrival-correct"), world.received["arrival"]),
        **dict.fromkeys(("claim", "claim-pdf"), world.received["claim"]),
        **world.by_name,
        "year-end": {"year": 2026},
        "month-reopen": {"pk": 1},
        **world.planned,
        **{name: world.bought[name.partition("-")[0]] for name in BUYING},
        "order-document": {"uuid": world.photo},  # of another sort of thing
        "sync-cabinet": cabinet,
        "sync-stop": location,
        "sync-delivery": world.bought["order"],
        "arrival-photo": {"uuid": ArrivalPhoto.objects.get().pk},
        "model-papers": {"pk": world.machine.model_id},
        "fault-parts": {"pk": Fault.objects.get().pk},
        "bag-count-withdraw": {"pk": world.count.pk},
        "contact-edit": {"pk": world.contact.pk},
        **dict.fromkeys(("agreement", "agreement-end", "agreement-withdraw"), {"pk": world.agreement.pk}),
        **dict.fromkeys(("tax-rule", "tax-rule-withdraw"), {"pk": world.tax_rule.pk}),
        **dict.fromkeys(("location-tax", "trial"), location),
        "cabinet-tax": cabinet,
        "fault-fix": {"pk": Fault.objects.get().pk},
        "label-page": {"code": "K7R2M9QX"},
        "model-edit": {"pk": world.machine.model_id},
        "person-edit": {"pk": world.person.pk},
        "photo": {"uuid": world.photo},
        "place-edit": {"pk": world.van.pk},
        "placement-end": {"pk": placement.pk},
        "placement-withdraw": {"pk": placement.pk},
        **dict.fromkeys(("prize-edit", "prize-earnings", "prize-takes"), {"pk": world.prizes[0].pk}),
    }


def routes(resolver=None):
    """Every (name, route) of the project."""
    for one in (resolver or get_resolver()).url_patterns:
        if isinstance(one, URLResolver):
            yield from routes(one)
        else:
            yield one.name, str(one.pattern)


def addresses(world):
    """Every (name, address) of the project with what exists in `world`."""
    known = kwargs_of(world)
    for name, route in sorted(routes()):
        yield name, "/" + re.sub(r"<\w+:(\w+)>", lambda found, name=name: str(known[name][found[1]]), route)


class Forms(HTMLParser):
    """Collects every form of a page: its method, its address, and its fields with what stands in them."""

    def __init__(self, page):
        super().__init__()
        self.forms, self._select = [], ""
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        said = dict(attributes)
        if tag == "form":
            self.forms.append((said.get("method", "get").lower(), said.get("action", ""), {}, set()))
        if not self.forms:
            return
        name, fields = said.get("name", ""), self.forms[-1][2]
        if tag in ("input", "textarea", "button") and name:
            if said.get("type") == "file":
                self.forms[-1][3].add(name)
            elif said.get("type") not in ("checkbox", "radio") or "checked" in said:
                fields[name] = said.get("value") or ""
            else:
                fields.setdefault(name, None)
        if tag == "select":
            self._select = name
            fields.setdefault(name, "")
        if tag == "option" and self._select and ("selected" in said or not fields[self._select]):
            fields[self._select] = said.get("value") or ""

    def handle_endtag(self, tag):
        if tag == "select":
            self._select = ""


def body_with(fields, name, value):
    """A form body with what stood in its fields, and `value` (percent-encoded) in the field `name`."""
    rest = urlencode({key: text for key, text in fields.items() if key != name and text is not None})
    return f"{rest}&{quote_plus(name)}={value}"


def rows():
    """How many rows there are, by table; sessions and what lockout keeps are nobody's data."""
    kept = [model._meta for model in apps.get_models()]
    tables = [one.db_table for one in kept if one.app_label not in ("sessions", "axes", "contenttypes")]
    counts = ", ".join(f"(SELECT count(*) FROM {connection.ops.quote_name(table)})" for table in tables)
    with connection.cursor() as cursor:  # one question for all of them: it is asked after each refusal
        cursor.execute(f"SELECT {counts}")
        return dict(zip(tables, cursor.fetchone(), strict=True))
