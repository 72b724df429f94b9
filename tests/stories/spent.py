"""One of everything that cards, expenses, trips and refunds know, for the addresses that name them."""

from datetime import date
from uuid import uuid4

from machines.models import Fault
from routeapp.expenses import actions, actions_refunds
from routeapp.models import CardRow, ReaderMove
from tests import factories
from tests.cards import desk


def spent_with(world, owner):
    """The variables of each of their addresses, by its name."""
    who = {"by": owner, "at": factories.LONG_AGO}
    machine = world.meters[0].machine
    desk.fit(owner, "R1", machine, factories.LONG_AGO)
    statement = desk.brought(owner, "2026-03-03 10:00:00,R1,2.00,0.1,a", "2026-03-03 11:00:00,R9,2.00,0.1,b")
    facts = {"category": "parts", "what": "Plunger", "cents": 500, "paid_from": "bank", "zone": "UTC"}
    expense = actions.spend(uuid=uuid4(), day=date(2026, 3, 3), **facts, **who)
    drive = {
        "driver": owner,
        "way": "Store – Arcade",
        "purpose": "Visits",
        "tenths": 90,
        "unit": "mi",
        "measured": False,
    }
    trip = actions.note_trip(uuid=uuid4(), day=date(2026, 3, 3), **drive, **who)
    rate = {"valid_to": None, "unit": "mi", "hundredths": 6000, "note": "Our own"}
    rate = actions.set_rate(valid_from=date(2026, 3, 1), **rate, **who)
    paid = {"cents": 200, "paid_from": "owner", "zone": "UTC", "machine": machine}
    refund = actions_refunds.refund(uuid=uuid4(), **paid, **who, received_at=factories.LONG_AGO)
    statements = ("card-statement", "card-statement-columns", "card-statement-bring", "card-statement-withdraw")
    expenses = ("expense", "expense-correct", "expense-withdraw", "expense-receipt")
    return {
        **dict.fromkeys(statements, {"uuid": statement.pk}),
        **dict.fromkeys(expenses, {"pk": expense.pk}),
        "card-row-match": {"pk": CardRow.objects.get(waits=True).pk},
        "card-reader": {"serial": "R1"},
        "card-reader-withdraw": {"pk": ReaderMove.objects.get().pk},
        "trip-withdraw": {"pk": trip.pk},
        "mileage-rate-withdraw": {"pk": rate.pk},
        "refund-report": {"pk": Fault.objects.order_by("pk")[0].pk},
        "refund-withdraw": {"pk": refund.pk},
    }
