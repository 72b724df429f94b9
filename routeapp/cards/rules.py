"""What a card processor's statement says, row by row: worked out on paper. Amounts in whole minor units."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import datetime
from hashlib import blake2b
from typing import Any, NamedTuple
from uuid import UUID

from routeapp.kit import money
from routeapp.kit.choices import TextChoices
from routeapp.kit.reading.cells import own_currency
from routeapp.kit.reading.headings import Meaning, Vocabulary, plain
from routeapp.kit.reading.statement import MOMENT, Line

SERIAL = re.compile(r"[\w.:+-]{1,40}")
LARGEST = 100_000_000  # as the largest move of money


class Kind(TextChoices):
    SALE = "sale", "A play that was paid by card"
    REFUND = "refund", "Money given back to a player"
    FEE = "fee", "What the processor keeps"
    PAYOUT = "payout", "Money the processor sent to the bank"
    NOTHING = "nothing", "Leave these rows out"


VOCABULARY = Vocabulary(
    {
        "When and where": (
            Meaning("day", "Date, or date and time", words=("date", "date and time", "day", "transaction date",
                "timestamp", "when", "processed", "processed at", "transaction time", "created", "date time")),
            Meaning("clock", "Time of day, in its own column", words=("time", "time of day", "clock", "hour")),
            Meaning("serial", "Serial number of the reader", words=("serial", "serial number", "serial no", "reader",
                "reader serial", "device", "device serial", "device number", "device id", "terminal", "terminal id")),
            Meaning("reference", "The processor's own number of the row", words=("reference", "ref", "transaction id",
                "transaction number", "id", "number", "transaction", "payment id")),
        ),
        "What happened": (
            Meaning("kind", "Kind of row", words=("kind", "type", "transaction type", "row type", "event")),
            Meaning("currency", "Currency", words=("currency", "currency code", "cur")),
        ),
        "Amounts": (
            Meaning("amount", "Amount of a sale, or of the kind that the row names", "own_amount",
                ("amount", "gross", "gross amount", "sale", "sales", "total", "price", "charged", "value")),
            Meaning("fee", "Fee, in its own column", "own_amount",
                ("fee", "fees", "processing fee", "card fee", "commission", "costs")),
            Meaning("refund", "Refund, in its own column", "own_amount", ("refund", "refunds", "refunded", "returned")),
            Meaning("payout", "Payout, in its own column", "own_amount",
                ("payout", "payouts", "paid out", "transfer", "deposit", "settled")),
        ),
    }
)  # fmt: skip
AMOUNTS = ("amount", "fee", "refund", "payout")
KIND_WORDS = {
    Kind.NOTHING: ("declined", "failed", "void", "voided", "cancelled", "canceled", "authorisation", "authorization"),
    Kind.REFUND: ("refund", "refunded", "chargeback", "return", "returned", "reversal"),
    Kind.FEE: ("fee", "fees", "commission", "service"),
    Kind.PAYOUT: ("payout", "transfer", "deposit", "settlement", "withdrawal", "bank"),
    Kind.SALE: ("sale", "sales", "purchase", "payment", "play", "charge", "tap", "dip", "swipe", "approved", "settled"),
}


def serial(said: str) -> str:
    """A reader's number as it is compared: spaces, small letters and zeros that spreadsheets drop tell nothing."""
    bare = re.sub(r"\s", "", said).upper()
    return bare.lstrip("0") or bare if bare.isdigit() else bare


def kind_of(word: str) -> str:
    """The kind a word on a statement probably names; empty where nothing tells."""
    words = plain(word).split()
    return next((kind for kind, known in KIND_WORDS.items() if set(known) & set(words)), "")


class Parts(NamedTuple):
    """What one row moves. A fee below zero was given back."""

    sale: int = 0
    fee: int = 0
    refund: int = 0
    payout: int = 0


def parts(values: Mapping[str, Any], kinds: Mapping[str, str], fee_sign: int) -> Parts:
    """What a row moves, by its amounts and what its kind was said to mean. Raises ValueError with a sentence.

    Without a kind an amount below zero is a refund. What stands in a column of its own wins over the amount, which
    then says the same once more. `fee_sign` is how this statement writes a cost: 1 or -1.
    """
    kind = kinds.get(values.get("kind") or "", Kind.SALE)
    if kind == Kind.NOTHING:
        return Parts()
    amount = values.get("amount") or 0
    given_back = kind == Kind.REFUND or (kind == Kind.SALE and amount < 0)
    found = Parts(
        sale=amount if kind == Kind.SALE and amount > 0 else 0,
        fee=fee_sign * (values.get("fee") or (amount if kind == Kind.FEE else 0)),
        refund=abs(values.get("refund") or (amount if given_back else 0)),
        payout=abs(values.get("payout") or (amount if kind == Kind.PAYOUT else 0)),
    )
    if max(map(abs, found)) > LARGEST:
        raise ValueError("That amount is too large to be meant.")
    return found


def sign_of_fees(lines: Iterable[Line], kinds: Mapping[str, str]) -> int:
    """How a statement writes fees: -1 where most of them stand below zero."""
    signs = Counter(_sign_of_fee(line.values, kinds) for line in lines)
    return -1 if signs[-1] > signs[1] else 1


def _sign_of_fee(values: Mapping[str, Any], kinds: Mapping[str, str]) -> int:
    of_kind = kinds.get(values.get("kind") or "") == Kind.FEE
    fee = values.get("fee") or (values.get("amount") if of_kind else 0) or 0
    return (fee > 0) - (fee < 0)


def trouble(values: Mapping[str, Any], found: Parts, latest: datetime) -> tuple[str, str] | None:
    """Why a row cannot be taken: (what its column means, a sentence). None when it can."""
    try:
        own_currency(values.get("currency"))
    except ValueError as problem:
        return "currency", str(problem)
    if not any(found):
        return None
    if values.get(MOMENT) is None:
        return "day", "An amount stands here, but no day."
    if values[MOMENT] > latest:
        return "day", "This day is still to come. Does the day or the month stand first?"
    if found.sale and not values.get("serial"):
        return "serial", f"A sale of {money.as_text(found.sale)} stands here, but no serial number of a reader."
    return None


class Keys:
    """Makes of each row what it is recognised by, so that a row in two statements counts once.

    The processor's own number tells a sale, where there is one; a refund, payout or fee may carry the number of its
    sale, so its amount tells too. Else moment, reader and amounts do. The fee beside an amount tells nothing, for its
    column is not always named. Rows of one statement that look the same are told apart by how many of them came
    before: two plays in one second are two.
    """

    def __init__(self) -> None:
        self._seen: Counter[bytes] = Counter()

    def of(self, values: Mapping[str, Any], found: Parts) -> UUID:
        reference = values.get("reference")
        what = reference or f"{values[MOMENT].isoformat()}|{serial(values.get('serial') or '')}"
        sale, fee, *rest = found
        amounts = (bool(sale) if reference else sale, *rest) if sale or any(rest) else (fee,)
        digest = blake2b(f"{bool(reference)}|{what}|{amounts}".encode(), digest_size=16).digest()
        self._seen[digest] += 1
        return UUID(bytes=blake2b(digest + str(self._seen[digest]).encode(), digest_size=16).digest())
