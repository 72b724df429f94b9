"""Every page of the project on a small phone, light and dark: axe finds nothing, nothing runs off the side."""

from uuid import uuid4

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Error

from machines.labels.actions import label_for
from machines.models import CabinetModel, Fault, Label
from routeapp.models import Bag, Delivery, Mix, Place
from tests.browser.conftest import sign_in
from tests.cash.cast import banked
from tests.machines.arrivals.cast import lived_through
from tests.machines.purchases.cast import bought
from tests.planning.lived_in import planned
from tests.settlements.cast import settled_with
from tests.stories.bad_input import a_sheet
from tests.stories.spent import spent_with
from tests.team.doors import EXPECTED
from tests.visits.books import START, document, entry, make_world, record, some_id

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# What a person never looks at as a page.
NO_PAGES = {
    "settlement-pdf", "statement-pdf", "expense-receipt",
    "books-journal", "books-ledger", "deposit-slip",
    "arrival-photo", "claim-pdf", "model-paper", "model-paper-away", "sync-arrivals", "sync-delivery",
    "cabinet-photo", "photo", "label-png", "label-svg", "labels-sheet", "earnings-csv", "healthz", "robots", "sync-me",
    "sync-visits", "sync-stop", "sync-cabinet", "worker", "manifest", "visit-signature", "sign-out",
    "calendar-feed", "sync-round", "sync-road", "welcome", "location-reopen", "sign-in", "label-page",
}  # fmt: skip


@pytest.fixture
def page(open_phone):
    """A phone that brings axe along to each page."""
    page = open_phone()
    page.add_init_script(Axe().axe_script)  # sent once for all: sending it to each page took a tenth of the time
    return page


@pytest.fixture
def lived_in(business, owner, route_hand):
    """A business in which every page has something to show; returns the variable parts of addresses by URL name."""
    world = make_world(owner)
    meter = world.meters[0]
    machine = meter.machine
    machine.model.checks = "Glass is clean\nLocks turn"
    machine.model.save()
    label_for(machine=machine, by=owner, at=START)
    mix = Mix.objects.create(name="Harbour mix")
    mix.lines.create(prize=world.prizes[0], quantity=4)
    fault = Fault.objects.create(uuid=uuid4(), machine=machine, via="host", text="Dark", at=START, received_at=START)
    seal = {"taken": "sealed", "bag": {"id": some_id("seal"), "number": "S-1"}}
    entries = [
        entry(world, "a", 0, reading=150, cents=4000, loaded={0: 20}),
        entry(world, "a", 1, reading=90, cash=seal, found={0: 0}),
    ]
    paid = {"cents": 1500, "received_by": "Mika"}
    visit = record(world, document(world, "a", entries=entries, host_payment=paid), at=START).visit
    host = world.location.host
    contact = host.contacts.create(name="Mika Ode", phone="555-0117")
    agreement = _agreement(world, owner)
    delivery = Delivery.objects.create(uuid=uuid4(), supplier="Kite & Co", by=owner, at=START, received_at=START)
    bag = Bag.objects.get(sealed=False)
    cabinet, place, bare = {"code": machine.code}, {"pk": world.location.pk}, {}
    made = {
        "agreement": {"pk": agreement.pk}, "bag": {"pk": bag.pk}, "cabinet": cabinet, "contact": {"pk": contact.pk},
        "delivery": {"uuid": delivery.uuid}, "fault": {"pk": fault.pk}, "host": {"pk": host.pk}, "location": place,
        "meter": {"pk": meter.pk}, "mix": {"pk": mix.pk}, "model": {"pk": CabinetModel.objects.get().pk},
        "person": {"pk": route_hand.pk}, "place": {"pk": Place.objects.get(name="Store").pk},
        "placement": {"pk": machine.placements.get().pk}, "prize": {"pk": world.prizes[0].pk},
        "import": {"uuid": a_sheet(owner).pk}, "visit": {"uuid": visit.pk}, "label": cabinet,
        **bought(owner, machine.model),
    }  # fmt: skip
    rule = {"pk": _tax_rule(owner).pk}
    special = {
        "agreement-add": place, "agreements": place, "location-tax": place, "trial": place, "cabinet-tax": cabinet,
        "tax-rules": bare, "tax-rule": rule, "tax-rule-withdraw": rule, "tax-summary": bare,
        "contact-add": {"pk": host.pk}, "fault-add": cabinet,
        "meter-add": cabinet, "visit-start": place, "label-renew": cabinet, "placement-assign": bare,
        "bag-count-withdraw": None, "bag-hold-to-bank": None, "bag-counts": bare, "deposits": bare,
        "month-reopen": None, "year-end": {"year": 2026},
        "order-unordered": bare, "order-document": None, "supplier-terms": bare,
        "depreciation-choose": cabinet,
    }  # fmt: skip
    received, by_name = lived_through(owner, START)
    special |= settled_with(world.location, owner) | spent_with(world, owner) | planned(owner, world.location)
    return made | received, special | by_name | banked(world)


def _agreement(world, owner):
    from locations.agreements.actions import add_agreement
    from locations.agreements.rules_terms import TermLine

    return add_agreement(
        location=world.location, starts_on=START.date(), terms=[TermLine("share", 4000)], settled="month", paid="cash",
        by=owner, at=START, received_at=START,
    )  # fmt: skip


def _tax_rule(owner):
    from locations.taxes.actions import add_rule

    rule = {"jurisdiction": "Port County", "treatment": "amusement", "how": "rate", "millionths": 40_000}
    return add_rule(**rule, valid_from=START.date(), source="county order 12", by=owner, at=START)


def addresses(lived_in):
    made, special = lived_in
    for name in sorted(set(EXPECTED) - NO_PAGES):
        noun = name.partition("-")[0]
        arguments = special[name] if name in special else {} if name.endswith("-add") else made.get(noun, {})
        if arguments is not None:
            yield name, reverse(name, kwargs=arguments)


def looked_at(page, address):
    """What is wrong with one page, in words; an empty list when nothing is."""
    try:
        response = page.goto(address)
    except Error as problem:
        if "Download is starting" in str(problem):
            return []
        raise
    if response.status == 405 or not response.headers["content-type"].startswith("text/html"):  # a button or file
        page.errors.clear()
        return []
    problems = [] if response.status < 400 else [f"answers {response.status}"]
    page.locator("h1").filter(visible=True).first.wait_for()  # scripts fill in the page of what the phone holds
    if (width := page.evaluate("document.documentElement.scrollWidth")) > 360:
        problems.append(f"is {width} px wide")
    problems += axe(page)
    page.emulate_media(color_scheme="dark")
    problems += axe(page, runOnly=["color-contrast"])
    page.emulate_media(color_scheme="light")
    problems += [f"script error: {error}" for error in page.errors]
    page.errors.clear()
    return problems


def axe(page, **options):
    found = page.evaluate("options => axe.run(options)", {"resultTypes": ["violations"], **options})["violations"]
    return [f"{one['id']}: {[node['target'] for node in one['nodes']][:3]}" for one in found]


@pytest.mark.parametrize("half", [0, 1])  # so that two cores share them
def test_axe_finds_nothing_on_any_page(page, lived_in, half):
    page.goto("/sign-in/")
    wrong = {"sign-in": looked_at(page, "/sign-in/")}
    sign_in(page, "ines")

    wrong |= {f"{name} ({address})": looked_at(page, address) for name, address in [*addresses(lived_in)][half::2]}

    assert {name: problems for name, problems in wrong.items() if problems} == {}


def test_axe_finds_nothing_on_the_strangers_page(page, lived_in):
    assert looked_at(page, f"/m/{Label.objects.get().code}/") == []


def test_axe_finds_nothing_on_pages_of_an_empty_business(page, business, owner):
    page.goto("/sign-in/")
    sign_in(page, "ines")
    names = [
        "today",
        "cabinets",
        "locations",
        "hosts",
        "stock",
        "cash",
        "earnings",
        "earnings-prizes",
        "faults",
        "labels",
        "over-short",
    ]

    assert {name: found for name in names if (found := looked_at(page, reverse(name)))} == {}
