"""A statement read by what was said about it: what it would bring, and everything that is wrong with it."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from routeapp.cards import rules
from routeapp.cards.models import CardRow, CardStatement
from routeapp.cards.queries import Whereabouts
from routeapp.cards.rules import VOCABULARY, Kind, Parts
from routeapp.cash.queries_bank import booked_payouts
from routeapp.cash.rules_bank import is_near
from routeapp.kit import clock
from routeapp.kit.money import as_text
from routeapp.kit.prepared import Prepared
from routeapp.kit.progress import Tell, nobody
from routeapp.kit.reading.forms import from_kept
from routeapp.kit.reading.sheet import letter
from routeapp.kit.reading.statement import MOMENT, Line, Look, Read, look, read

MOST_KINDS = 40  # words for kinds that a person can be asked about
CLOCKS_DIFFER = timedelta(days=1)


def looked_at(statement: CardStatement) -> Look:
    """Raises Unreadable."""
    return look(Path(statement.file.path), statement.name, VOCABULARY)


@dataclass(frozen=True, slots=True)
class Row:
    """One row that moves money, and what it is recognised by."""

    line: Line
    parts: Parts
    key: UUID

    @property
    def at(self) -> datetime:
        return self.line.values[MOMENT]

    @property
    def serial(self) -> str:
        return rules.serial(self.line.values.get("serial") or "")


@dataclass
class Checked:
    """`kinds` are the words of the kind column with how often each stands there; `open` those nobody knows."""

    read: Read
    kinds: Counter[str]
    meant: dict[str, str]
    rows: list[Row] = field(default_factory=list)
    left_out: int = 0

    @property
    def open(self) -> list[str]:
        return [word for word in self.kinds if word not in self.meant]

    @property
    def ready(self) -> bool:
        return not self.read.wrong and not self.open and bool(self.rows)


def check(statement: CardStatement, latest: datetime, told: Tell = nobody) -> Checked:
    """Read a statement to its end. Nothing may have happened after `latest`."""
    said = from_kept(statement.said)
    found = read(looked_at(statement).sheet, said, VOCABULARY, told)
    kinds = Counter(word for line in found.lines if (word := line.values.get("kind")))
    checked = Checked(found, kinds, _meant(kinds, statement.said.get("kinds", {})))
    if len(kinds) > MOST_KINDS:
        found.refuse(said.heading, "", f"The column for the kind of row holds {len(kinds):,} different words.")
    elif not checked.open:
        columns = {meaning: letter(column) for column, meaning in said.columns.items()}
        _take_rows(checked, columns, latest + CLOCKS_DIFFER)
    if not found.wrong and not checked.open and not checked.rows:
        found.refuse(said.heading, "", "No row below the headings holds an amount.")
    return checked


def _meant(kinds: Mapping[str, int], said: Mapping[str, str]) -> dict[str, str]:
    known = {word: said.get(word) or rules.kind_of(word) for word in kinds}
    return {word: kind for word, kind in known.items() if kind}


def _take_rows(checked: Checked, columns: Mapping[str, str], latest: datetime) -> None:
    found, keys = checked.read, rules.Keys()
    sign = rules.sign_of_fees(found.lines, checked.meant)
    for line in found.lines:
        try:
            parts = rules.parts(line.values, checked.meant, sign)
        except ValueError as problem:
            found.refuse(line.row, columns.get("amount", ""), str(problem))
            continue
        if checked.meant.get(line.values.get("kind") or "") == Kind.NOTHING:
            checked.left_out += 1
        elif wrong := rules.trouble(line.values, parts, latest):
            found.refuse(line.row, columns.get(wrong[0], ""), wrong[1])
        elif any(parts):
            checked.rows.append(Row(line, parts, keys.of(line.values, parts)))


_known = Prepared(
    lambda keys: CardRow.objects.filter(withdrawn_at=None, key__in=keys).order_by().values_list("key"), list
)


def known(rows: list[Row]) -> set[UUID]:
    """The keys of those rows that are in the books already."""
    return {key for (key,) in _known([row.key for row in rows])}


def booked_already(checked: Checked, zone: str) -> list[str]:
    """The payouts, in words, that would be new in the books and that the bank's own row brought there already."""
    payouts = [row for row in checked.rows if row.parts.payout > 0]
    if not payouts:
        return []
    days = [clock.local_day(row.at, zone) for row in payouts]
    there, booked = known(payouts), booked_payouts(min(days), max(days))
    return [
        f"Row {row.line.row}, a payout of {as_text(cents)}, was booked from the bank's row of {on:%-d %B %Y}."
        for row, day in zip(payouts, days, strict=True)
        for on, cents in booked
        if row.key not in there and cents == row.parts.payout and is_near(day, on)
    ]


def told(checked: Checked) -> dict[str, Any]:
    """What a check found, to be kept with the statement and shown."""
    same = known(checked.rows)
    places = Whereabouts(row.serial for row in checked.rows if row.serial)
    lost: dict[str, list[int]] = {}
    for row in checked.rows:
        if row.parts.sale and places.spot(row.serial, row.at) is None:
            many, cents = lost.get(row.serial, (0, 0))
            lost[row.serial] = [many + 1, cents + row.parts.sale]
    return {
        "problems": [[one.row, one.column, one.text] for one in checked.read.problems],
        "wrong": checked.read.wrong,
        "rows": len(checked.rows),
        "same": sum(row.key in same for row in checked.rows),
        "left_out": checked.left_out,
        "sums": [sum(part) for part in zip(*(row.parts for row in checked.rows), strict=True)],
        "kinds": [[word, many, checked.meant.get(word, "")] for word, many in checked.kinds.most_common(MOST_KINDS)],
        "lost": [[serial, *sums] for serial, sums in sorted(lost.items())],
        "days": [min(row.at for row in checked.rows).isoformat(), max(row.at for row in checked.rows).isoformat()]
        if checked.rows
        else [],
        "ready": checked.ready,
    }


def reaches(checked: Checked, zone: str, received_at: datetime) -> datetime:
    """Until when a statement tells of everything: the end of its last day, but never later than it came."""
    last = max(row.at for row in checked.rows)
    tomorrow = clock.local_day(last, zone) + timedelta(days=1)
    return max(last, min(clock.start_of_day(tomorrow, zone), received_at))
