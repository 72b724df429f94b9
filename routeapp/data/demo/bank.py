"""What the bank says of the last weeks: mostly what the books say, one deposit short, a charge nobody wrote down, and
the newest deposit not on the statement yet. Two bags are counted by two people."""

from datetime import date, datetime, timedelta
from uuid import NAMESPACE_OID, uuid5

from django.core.files.base import ContentFile

from routeapp.cash import actions_bank
from routeapp.cash.actions_blind import count_blind
from routeapp.cash.models import How
from routeapp.cash.queries import uncounted_bags
from routeapp.cash.queries_bank import bank_moves, events
from routeapp.data.demo.cast import Cast
from routeapp.data.demo.names import BOOKS, OWNER

WEEKS = 10
SHORT_BY = 450
HEADINGS = "Posted,Description,Amount"
SAID = {"heading": 1, "columns": {"0": "day", "1": "text", "2": "amount"}, "zone": "UTC", "order": ""}


def bank(cast: Cast, now: datetime) -> None:
    """`now` is an aware moment."""
    by = cast.people[BOOKS.username]
    rows = _rows(now.date())
    if rows:
        text = "\n".join([HEADINGS, *(f'{day},"{words}",{cents / 100:.2f}' for day, words, cents in rows)])
        file = ContentFile(text.encode(), name="account-spring.csv")
        uuid = uuid5(NAMESPACE_OID, "the bank's statement")
        one = actions_bank.take_statement(uuid=uuid, file=file, by=by, at=now)
        told = {"account": "Business account", "signature": "posted|description|amount", "by": by, "at": now}
        actions_bank.bring_rows(statement=one, said=SAID, **told)
    _count_apart(cast, now)


def _rows(today: date) -> list[tuple[date, str, int]]:
    known = events(bank_moves().filter(day__gte=today - timedelta(weeks=WEEKS), day__lt=today - timedelta(days=4)))
    rows = [(one.day + timedelta(days=1), "Cash paid in", one.cents) for one in reversed(known)]
    if len(rows) > 2:
        day, words, cents = rows[-2]
        rows[-2] = (day, words, cents - SHORT_BY)
        rows.append((rows[-1][0], "Charge for handling coins", -1200))
    return rows


def _count_apart(cast: Cast, now: datetime) -> None:
    """One of two people has counted a sealed bag; the other's count is still to come."""
    bag = uncounted_bags().first()
    if bag is not None:
        said = {"how": How.AMOUNT, "cents": 12_350, "lines": {}, "at": now, "received_at": now}
        count_blind(uuid=uuid5(NAMESPACE_OID, "blind"), bag=bag, by=cast.people[OWNER.username], **said)
