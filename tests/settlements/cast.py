"""Something for each page of settlements to show: the variable parts of their addresses, by name."""

from datetime import timedelta
from uuid import uuid4

from locations.agreements.rules_periods import DAY
from routeapp.models import SettlementRun
from routeapp.settlements import actions, queries_drafts
from tests.visits.books import START


def settled_with(location, owner):
    """The first period of a location that has terms, issued and partly paid, and a link to its host's statement."""
    at = START + timedelta(days=60)
    draft = next(one for one in queries_drafts.due(at, [location.pk]))
    asked = {"location": location, "since": draft.stretch.since, "seen_cents": draft.cents, "although": True}
    made = actions.issue(uuid=uuid4(), **asked, by=owner, at=at)
    paid = {"location": location, "means": "own", "cents": 1, "day": at.date(), "although": True, "note": "A coin"}
    payment = actions.pay(uuid=uuid4(), **paid, by=owner, at=at)
    link = actions.open_statement(host=location.host, by=owner, at=at)
    run = SettlementRun.objects.create(
        uuid=uuid4(), by=owner, at=at, until=at.date(), told_at=at, ended_at=at, left=[[location.pk, "Arcade", "A bag"]]
    )
    host, place, paper = {"pk": location.host_id}, {"pk": location.pk}, {"pk": made.pk}
    draft = {"pk": location.pk, "since": (made.until + DAY).isoformat()}
    return {
        **dict.fromkeys(("settlement", "settlement-pdf", "settlement-void", "settlement-send"), paper),
        **dict.fromkeys(("settlement-draft", "settlement-draft-facts"), draft),
        **dict.fromkeys(("host-account", "statement-open", "statement-close"), host),
        **dict.fromkeys(("statement-paper", "statement-pdf"), {"code": link.code, "number": made.number}),
        "settlement-line": {**paper, "place": 1},
        "settlement-run-start": {},
        "settlement-run": {"uuid": run.pk},
        "location-account": place,
        "payment-withdraw": {"pk": payment.pk},
        "statement": {"code": link.code},
    }
