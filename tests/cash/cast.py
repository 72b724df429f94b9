"""A business whose money went to the bank."""

from datetime import timedelta
from uuid import UUID

from django.core.files.uploadedfile import SimpleUploadedFile

from routeapp.cash.actions_bank import bring_rows, take_statement
from routeapp.cash.actions_deposits import deposit
from routeapp.cash.models import Bag
from routeapp.cash.models_bank import BankRow
from tests.visits.books import START, document, entry, record, some_id

FILE = b"Date,Description,Amount\n2026-03-04,cash paid in,19.50\n2026-03-05,charge,-4.00\n"


def banked(world):
    """What stands in the addresses of pages about the bank, by the name of the page."""
    record(world, document(world, "to bank", days=0.5, entries=[entry(world, "to bank", reading=160, cents=2000)]))
    at = START + timedelta(days=1)
    bag = Bag.objects.get(uuid=some_id("bag to bank"))
    said = {"by": world.person, "at": at}
    taken = deposit(uuid=UUID(some_id("deposit")), bags=[bag], lines={"n500": 4}, received_at=at, **said)
    file = SimpleUploadedFile("bank.csv", FILE)
    one = take_statement(uuid=UUID(some_id("statement")), file=file, **said)
    columns = {"heading": 1, "columns": {"0": "day", "1": "text", "2": "amount"}, "zone": "UTC", "order": ""}
    bring_rows(statement=one, said=columns, account="Till", signature="", **said)
    row = {"pk": BankRow.objects.order_by("pk")[0].pk}
    return {
        **dict.fromkeys(("deposit", "deposit-slip", "deposit-figure", "deposit-withdraw"), {"uuid": taken.uuid}),
        **dict.fromkeys(("bank-statement", "bank-statement-withdraw"), {"uuid": one.uuid}),
        **dict.fromkeys(("bank-row", "bank-row-match", "bank-row-confirm", "bank-row-book"), row),
        **dict.fromkeys(("bank-row-aside", "bank-row-undo"), row),
    }
