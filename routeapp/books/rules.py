"""The journal on paper: entries that balance, the day each is booked on, and the two ways they are written out."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from routeapp.kit import money

HEADINGS = ("Entry", "Date", "Happened on", "Account", "Debit", "Credit", "Words")
FIRST_DAY = "1970-01-01"


@dataclass(frozen=True, slots=True)
class Entry:
    """One fact of money: `cents` (minor units, above zero) from `credit` to `debit`.

    `day` is when it is booked, `happened` when it was.
    """

    number: str
    day: date
    happened: date
    debit: str
    credit: str
    cents: int
    words: str


def entry(number: str, day: date, happened: date, debit: str, credit: str, cents: int, words: str) -> Entry:
    """An amount below zero goes the other way."""
    ends = (debit, credit) if cents >= 0 else (credit, debit)
    return Entry(number, day, happened, *ends, abs(cents), words)


@dataclass(frozen=True)
class Closing:
    """A month (its first day) that was closed at a moment, and perhaps opened again at another."""

    month: date
    closed_at: datetime
    opened_at: datetime | None = None


class Calendar:
    """Which months were open at which moment. Closing a month closes all before it."""

    def __init__(self, closings: Iterable[Closing]) -> None:
        closings = list(closings)
        moments = {one.closed_at for one in closings} | {one.opened_at for one in closings if one.opened_at}
        self._moments = sorted(moments)
        self._open_from = [_open_from(closings, moment) for moment in self._moments]

    def day(self, happened: date, received: datetime) -> date:
        """The day a fact is booked on: its own, if that month was open when it was received; else the first day that
        was open then."""
        number = bisect_left(self._moments, received)
        return max(happened, self._open_from[number - 1]) if number else happened


def _open_from(closings: Sequence[Closing], moment: datetime) -> date:
    holding = [
        one.month for one in closings if one.closed_at <= moment and (one.opened_at is None or one.opened_at > moment)
    ]
    return month_after(max(holding)) if holding else date.min


def month_after(month: date) -> date:
    return date(month.year + month.month // 12, month.month % 12 + 1, 1)


def months(first: date, last: date) -> Iterator[date]:
    """The first day of each month from that of `first` to that of `last`."""
    month = first.replace(day=1)
    while month <= last:
        yield month
        month = month_after(month)


def rows(entries: Iterable[Entry], currency: str) -> Iterator[tuple]:
    """The journal as a table: a line for each of the two accounts of an entry."""
    yield HEADINGS
    for one in entries:
        amount = money.as_input(one.cents, currency)
        said = (one.number, one.day, one.happened)
        yield *said, one.debit, amount, "", one.words
        yield *said, one.credit, "", amount, one.words


def ledger(entries: Iterable[Entry], accounts: Iterable[str], title: str, currency: str) -> Iterator[str]:
    """The journal as a plain-text ledger (Beancount Language Syntax): accounts opened first, then the entries."""
    yield f'option "title" "{_quoted(title)}"\noption "operating_currency" "{currency}"\n\n'
    for account in accounts:
        yield f"{FIRST_DAY} open {account} {currency}\n"
    for one in entries:
        amount = money.as_input(one.cents, currency)
        yield (
            f'\n{one.day} * "{_quoted(one.words)}"\n'
            f'  entry: "{one.number}"\n  happened: {one.happened}\n'
            f"  {one.debit}  {amount} {currency}\n  {one.credit}  -{amount} {currency}\n"
        )


def _quoted(words: str) -> str:
    """Text inside quotation marks of a ledger, on one line."""
    return " ".join(words.replace("\\", "/").replace('"', "'").split())
