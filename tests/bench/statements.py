"""Statements of 100,000 rows, a card processor's and a bank's: checked, brought in, withdrawn."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any
from uuid import uuid4

from django.core.files.base import ContentFile

from routeapp.cards import actions as cards
from routeapp.cash import actions_bank as bank
from routeapp.cash import queries_bank
from routeapp.kit import clock
from routeapp.models import CashMove
from tests import factories
from tests.bench.memory import timed

ROWS, READERS = 100_000, 100
START = clock.now() - timedelta(days=400)


def run(*more: str) -> Iterator[dict[str, Any]]:
    rows, owner = int(more[0]) if more else ROWS, factories.person("ines", "owner")
    for case, work in (*card_work(rows, owner), *bank_work(rows, owner)):
        seconds, memory = timed(work)
        yield {"case": f"{rows:,} rows {case}", "seconds": round(seconds, 1), "peak_mb": memory}


def card_work(rows: int, owner: Any) -> Iterator[tuple[str, Any]]:
    """A sale every five minutes, in cabinets of which each stood at one place and then at another."""
    facts = {"by": owner, "at": START, "received_at": START}
    for number in range(READERS):
        machine = factories.MachineFactory()
        moved = START + timedelta(days=100 + number)
        factories.PlacementFactory(machine=machine, started_at=START, ended_at=moved, ended_by=owner)
        factories.PlacementFactory(machine=machine, started_at=moved)
        cards.fit_reader(uuid=uuid4(), serial=f"R{number}", machine=machine, **facts)
    lines = (
        f"{START + timedelta(minutes=5 * n):%Y-%m-%d %H:%M:%S},R{n % READERS},2.00,0.11,{n}\n" for n in range(rows)
    )
    file = ContentFile("Date,Reader,Amount,Fee,Id\n" + "".join(lines), "cards.csv")
    now = clock.now()
    one = cards.take_file(uuid=uuid4(), file=file, by=owner, at=now)
    columns = {"0": "day", "1": "serial", "2": "amount", "3": "fee", "4": "reference"}
    said = {"heading": 1, "columns": columns, "zone": "UTC", "order": "", "kinds": {}}
    yield "of cards checked", lambda: cards.say(statement=one, said=said, by=owner, at=now)
    yield "of cards brought in", lambda: cards.bring_in(statement=one, by=owner, at=now)
    yield "of cards looked at again", lambda: cards.match_again(by=owner, at=now)
    yield "of cards withdrawn", lambda: cards.withdraw(statement=one, by=owner, at=now)


def bank_work(rows: int, owner: Any) -> Iterator[tuple[str, Any]]:
    """Half of the rows have a move of the very amount in the books."""
    now = clock.now()
    file = ContentFile("Date,Text,Amount\n" + "".join(_bank_line(n) for n in range(rows)), "bank.csv")
    one = bank.take_statement(uuid=uuid4(), file=file, by=owner, at=now)
    ends = {"from_purse": "owner", "to_purse": "bank"}
    moves = [CashMove(**ends, cents=100 + n % 997, day=_day(n), at=START) for n in range(0, rows, 2)]
    bank.append(moves=moves, by=owner, at=now)
    said = {"heading": 1, "columns": {"0": "day", "1": "text", "2": "amount"}, "zone": "UTC", "order": ""}
    told = {"said": said, "account": "Till", "signature": "s", "by": owner, "at": now}
    yield "of a bank taken", lambda: bank.bring_rows(statement=one, **told)
    yield "of a bank on its page", lambda: list(queries_bank.unmatched_rows()[:300]) + queries_bank.unmatched_events()
    yield "of a bank withdrawn", lambda: bank.withdraw_statement(statement=one, by=owner, at=now)


def _day(number: int) -> Any:
    return (START + timedelta(minutes=5 * number)).date()


def _bank_line(number: int) -> str:
    return f"{_day(number)},row {number},{(100 + number % 997) / 100:.2f}\n"
