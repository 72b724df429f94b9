"""From what yearly sum a payment may have to be reported: dated rows, each with its source. They decide nothing."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Threshold:
    """In the United States, for rent of space or machines (Form 1099-MISC, box 1). `cents` None: not known here."""

    first_year: int
    last_year: int
    cents: int | None
    source: str


THRESHOLDS = (
    Threshold(1954, 2025, 600_00, "26 U.S.C. 6041(a), as it stood to the end of 2025"),
    Threshold(2026, 2026, 2_000_00, "Public Law 119-21, for payments from 1 January 2026"),
    Threshold(2027, 9999, None, "Public Law 119-21: indexed from 2027 to the nearest $100; look it up"),
)


def threshold(year: int, currency: str) -> Threshold | None:
    """The row of a year; none for books in another currency, as other countries have their own."""
    if currency != "USD":
        return None
    return next(one for one in THRESHOLDS if one.first_year <= year <= one.last_year)
