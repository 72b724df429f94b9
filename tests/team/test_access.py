"""Who may open which address. One line an address: add yours here, or nobody may merge it."""

import re
from uuid import UUID

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, resolve
from django.urls.resolvers import RoutePattern

from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, PUBLIC, ROUTE_HAND
from tests import factories

HANDS = (OWNER, ROUTE_HAND)
OFFICE = (OWNER, BOOKKEEPER)

EXPECTED = {
    # routeapp/team
    "sign-in": [PUBLIC],
    "sign-out": [PUBLIC],
    "welcome": [PUBLIC],
    "setup": EVERYONE,
    "own-password": EVERYONE,
    "people": [OWNER],
    "person-add": [OWNER],
    "person-edit": [OWNER],
    "business-edit": [OWNER],
    "audit": OFFICE,
    # machines/cabinets
    "cabinets": EVERYONE,
    "cabinet-add": [OWNER],
    "cabinet-edit": [OWNER],
    "cabinet-photo": EVERYONE,
    "cabinet-status": HANDS,
    "cabinet-settings": HANDS,
    "cabinet-price": [OWNER],
    "cabinet-meters": EVERYONE,
    "meter-add": HANDS,
    "meter-replace": HANDS,
    "meter-reset": HANDS,
    "models": EVERYONE,
    "model-add": [OWNER],
    "model-edit": [OWNER],
    # machines/faults
    "faults": EVERYONE,
    "fault-add": EVERYONE,
    "fault-fix": HANDS,
    # machines/labels
    "labels": HANDS,
    "labels-sheet": HANDS,
    "label": HANDS,
    "label-png": HANDS,
    "label-svg": HANDS,
    "label-renew": [OWNER],
    # machines/depreciation
    "depreciation": OFFICE,
    "cabinet-depreciation": OFFICE,
    "depreciation-choose": OFFICE,
    # machines/papers
    "model-papers": EVERYONE,
    "model-paper": EVERYONE,
    "model-paper-away": [OWNER],
    # machines/bench
    "bench": HANDS,
    "bench-let-go": HANDS,
    # machines/parts
    "parts": HANDS,
    "part": HANDS,
    "part-add": HANDS,
    "part-edit": HANDS,
    "shelf-add": HANDS,
    "fault-parts": HANDS,
    "keys": HANDS,
    "key-lock": HANDS,
    "key-lock-add": HANDS,
    "key-lock-edit": HANDS,
    "key-hand-over": HANDS,
    # machines/arrivals
    "arrivals": EVERYONE,
    "arrival": EVERYONE,
    "arrival-start": HANDS,
    "arrival-unpack": HANDS,
    "arrival-correct": HANDS,
    "sync-delivery": HANDS,
    "arrival-photo": EVERYONE,
    "claims": EVERYONE,
    "claim": EVERYONE,
    "claim-start": HANDS,
    "claim-pdf": EVERYONE,
    "sync-arrivals": HANDS,
    # machines/purchases
    "buying": EVERYONE,
    "compare": OFFICE,
    "suppliers": OFFICE,
    "supplier": OFFICE,
    "supplier-add": [OWNER],
    "supplier-edit": [OWNER],
    "quotes": OFFICE,
    "quote": OFFICE,
    "quote-add": [OWNER],
    "quote-edit": [OWNER],
    "quote-order": [OWNER],
    "order": EVERYONE,
    "order-unordered": HANDS,
    "order-step": EVERYONE,
    "order-receipt": HANDS,
    "order-cost": OFFICE,
    "order-payment": OFFICE,
    "order-paper": OFFICE,
    "order-document": OFFICE,
    # locations/hosts
    "hosts": EVERYONE,
    "host": EVERYONE,
    "host-add": EVERYONE,
    "host-edit": EVERYONE,
    "contact-add": EVERYONE,
    "contact-edit": EVERYONE,
    # locations/sites
    "locations": EVERYONE,
    "location-add": HANDS,
    "location-edit": HANDS,
    "location-hours": HANDS,
    "location-close": [OWNER],
    "location-reopen": [OWNER],
    # locations/placements
    "placements": EVERYONE,
    "tax-summary": OFFICE,
    "trial": OFFICE,
    # locations/taxes
    "tax-rules": OFFICE,
    "tax-rule-add": OFFICE,
    "tax-rule": OFFICE,
    "tax-rule-withdraw": OFFICE,
    "location-tax": OFFICE,
    "cabinet-tax": OFFICE,
    # locations/agreements
    "agreements": OFFICE,
    "agreement-add": OFFICE,
    "agreement": OFFICE,
    "agreement-end": OFFICE,
    "agreement-withdraw": OFFICE,
    # routeapp/cash
    "cash": EVERYONE,
    "bag": EVERYONE,
    "bag-count": EVERYONE,
    "bag-count-withdraw": OFFICE,
    "bag-hand-over": EVERYONE,
    "bag-hold-to-bank": OFFICE,
    "bag-counts": OFFICE,
    "deposits": OFFICE,
    "deposit-add": OFFICE,
    "deposit": OFFICE,
    "deposit-slip": OFFICE,
    "deposit-figure": OFFICE,
    "deposit-withdraw": OFFICE,
    "bank": OFFICE,
    "bank-statement-add": OFFICE,
    "bank-statement": OFFICE,
    "bank-statement-withdraw": OFFICE,
    "bank-row": OFFICE,
    "bank-row-match": OFFICE,
    "bank-row-confirm": OFFICE,
    "bank-row-book": OFFICE,
    "bank-row-aside": OFFICE,
    "bank-row-undo": OFFICE,
    "over-short-patterns": OFFICE,
    # routeapp/books
    "books": OFFICE,
    "books-journal": OFFICE,
    "books-ledger": OFFICE,
    "month-close": OFFICE,
    "month-reopen": OFFICE,
    "year-end": OFFICE,
    "over-short": OFFICE,
    "cash-moves": OFFICE,
    # routeapp/cards
    "cards": OFFICE,
    "cards-unmatched": OFFICE,
    "cards-match-again": OFFICE,
    "card-row-match": OFFICE,
    "card-statement-add": OFFICE,
    "card-statement": OFFICE,
    "card-statement-columns": OFFICE,
    "card-statement-bring": OFFICE,
    "card-statement-withdraw": OFFICE,
    "card-readers": EVERYONE,
    "card-reader": EVERYONE,
    "card-reader-add": EVERYONE,
    "card-reader-withdraw": OFFICE,
    # routeapp/expenses
    "expenses": EVERYONE,
    "expense-add": EVERYONE,
    "expense": EVERYONE,
    "expense-receipt": EVERYONE,
    "expense-correct": OFFICE,
    "expense-withdraw": OFFICE,
    "trips": EVERYONE,
    "trip-add": EVERYONE,
    "trip-withdraw": OFFICE,
    "mileage-rates": OFFICE,
    "mileage-rate-withdraw": OFFICE,
    "refunds": EVERYONE,
    "refund-add": EVERYONE,
    "refund-report": EVERYONE,
    "refund-withdraw": OFFICE,
    # routeapp/stock
    "stock": EVERYONE,
    "stock-moves": EVERYONE,
    "deliveries": EVERYONE,
    "delivery": EVERYONE,
    "delivery-add": HANDS,
    "delivery-withdraw": HANDS,
    "stock-inside": HANDS,
    "stock-count": HANDS,
    "stock-move": HANDS,
    "prize-add": HANDS,
    "prize-edit": HANDS,
    "mixes": HANDS,
    "mix-add": HANDS,
    "mix-edit": HANDS,
    "mix-retire": HANDS,
    "places": HANDS,
    "place-add": HANDS,
    "place-edit": HANDS,
    # routeapp/visits
    "trip-proposals": EVERYONE,
    "visits": EVERYONE,
    "visit-start": HANDS,
    "visit": EVERYONE,
    "visit-correct": HANDS,
    "visit-withdraw": HANDS,
    "visit-times-keep": HANDS,
    "visit-times-shift": HANDS,
    "visit-receipt": EVERYONE,
    "photo": EVERYONE,
    "sync-visits": HANDS,
    "sync-me": EVERYONE,
    "sync-stop": HANDS,
    "sync-cabinet": HANDS,
    "phone": [PUBLIC],
    "worker": [PUBLIC],
    "manifest": [PUBLIC],
    "unsent-file": [OWNER],
    "visit-signature": EVERYONE,
    "placement-assign": HANDS,
    "placement-end": HANDS,
    "placement-withdraw": [OWNER],
    # routeapp/planning
    "rounds": HANDS,
    "round-next": HANDS,
    "round": HANDS,
    "round-change": [OWNER],
    "round-replan": HANDS,
    "round-drop": [OWNER],
    "round-sheet": HANDS,
    "round-load": HANDS,
    "round-tick": HANDS,
    "round-skip": HANDS,
    "round-unskip": HANDS,
    "round-end": HANDS,
    "sync-round": HANDS,
    "sync-road": HANDS,
    "plan-start": [OWNER],
    "plan": [OWNER],
    "plan-use": [OWNER],
    "crew": [OWNER],
    "crew-edit": [OWNER],
    "vehicle-add": [OWNER],
    "vehicle-edit": [OWNER],
    "pins": [OWNER],
    "pin-lift": [OWNER],
    "calendar": HANDS,
    "calendar-make": HANDS,
    "calendar-revoke": HANDS,
    "calendar-feed": [PUBLIC],
    # routeapp/settlements
    "settlements": OFFICE,
    "settlements-due": OFFICE,
    "settled-before": OFFICE,
    "settlement-draft": OFFICE,
    "settlement-draft-facts": OFFICE,
    "settlement-run-start": OFFICE,
    "settlement-run": OFFICE,
    "settlement": OFFICE,
    "settlement-pdf": OFFICE,
    "settlement-void": OFFICE,
    "settlement-send": OFFICE,
    "settlement-line": OFFICE,
    "hosts-owed": OFFICE,
    "location-account": OFFICE,
    "payment-withdraw": OFFICE,
    "host-account": OFFICE,
    "statement-open": OFFICE,
    "statement-close": OFFICE,
    "statement": [PUBLIC],
    "statement-paper": [PUBLIC],
    "statement-pdf": [PUBLIC],
    # routeapp/earnings
    "earnings": EVERYONE,
    "earnings-takes": EVERYONE,
    "earnings-csv": EVERYONE,
    "earnings-prizes": EVERYONE,
    "prize-earnings": EVERYONE,
    "prize-takes": EVERYONE,
    "profit": OFFICE,
    "profit-amounts": OFFICE,
    "profit-payback": OFFICE,
    "cabinet-profit": OFFICE,
    "location-profit": OFFICE,
    # routeapp/data
    "standing-add": [OWNER],
    "imports": [OWNER],
    "import": [OWNER],
    "import-columns": [OWNER],
    "import-answer": [OWNER],
    "import-bring": [OWNER],
    "import-undo": [OWNER],
    "everything": [OWNER],
    "everything-out": [OWNER],
    "everything-in": [OWNER],
    # routeapp/planning
    "cabinet-forecast": EVERYONE,
    "due": EVERYONE,
    "reorder": EVERYONE,
    "reorder-file": EVERYONE,
    "reorder-supplier": HANDS,
    "supplier-terms": [OWNER],
    "order-withdraw": HANDS,
    "due-place": EVERYONE,
    "to-do-add": HANDS,
    "to-do-done": HANDS,
    "promise": [OWNER],
    "promise-away": [OWNER],
    # routeapp/pages
    "today": EVERYONE,
    "search": EVERYONE,
    "cabinet": EVERYONE,
    "location": EVERYONE,
    "label-page": [PUBLIC],
    "healthz": [PUBLIC],
    "robots": [PUBLIC],
}

# What stands in an address where a pattern has a variable. None of these exist: the door is before the room.
SAMPLES = {"int": "987654", "str": "NO-SUCH", "slug": "no-such", "uuid": str(UUID(int=1)), "path": "no/such"}


def patterns(resolver=None, before=""):
    """Every (name, address) of the project."""
    for one in (resolver or get_resolver()).url_patterns:
        route = before + str(one.pattern)
        if isinstance(one, URLResolver):
            yield from patterns(one, route)
        elif isinstance(one, URLPattern):
            assert isinstance(one.pattern, RoutePattern), f"{route}: write it with path(), so that it can be tried."
            yield one.name, "/" + re.sub(r"<(?:(\w+):)?\w+>", lambda found: SAMPLES[found[1] or "str"], route)


ADDRESSES = sorted(patterns(), key=str)


def test_every_address_has_a_name_and_a_line_here():
    unknown = {f"{name} ({address})" for name, address in ADDRESSES if name not in EXPECTED}
    assert unknown == set(), "Say in EXPECTED who may open these addresses."


def test_every_line_here_has_an_address():
    assert set(EXPECTED) - {name for name, _ in ADDRESSES} == set(), "These lines lead nowhere: remove them."


@pytest.mark.parametrize(("name", "address"), ADDRESSES)
def test_view_names_its_roles(name, address):
    said = getattr(resolve(address).func, "roles", frozenset())
    assert said == set(EXPECTED[name]), f"{name}: mark the view with @allow(...) as EXPECTED says."


def turned_away(response):
    return response.status_code in (401, 403) or response.headers.get("Location", "").startswith("/sign-in/?next=")


@pytest.fixture
def people(db):
    """Somebody without a role and one person of each, signed in, by what they are; and a stranger."""
    clients = {"a stranger": Client()}
    for number, role in enumerate(["nobody's role", *EVERYONE]):
        clients[role] = Client()
        clients[role].force_login(
            factories.person(f"sam{number}", role), backend="django.contrib.auth.backends.ModelBackend"
        )
    return clients


@pytest.mark.any_engine
@pytest.mark.parametrize(("name", "address"), ADDRESSES)
def test_door_opens_for_those_only(people, name, address):
    for who, client in people.items():
        expected = PUBLIC in EXPECTED[name] or who in EXPECTED[name]
        for response in (client.get(address), client.post(address)):
            assert response.status_code < 500, who
            assert turned_away(response) != expected, who
