"""What one cell of a spreadsheet says: amounts, counts, shares, days. Each refusal is a sentence for the person."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from functools import cache, lru_cache
from typing import Any

from babel.dates import get_month_names

from routeapp.kit import money

FIRST_YEAR, LAST_YEAR = 2000, 2099
LONGEST_TEXT = 4000
LARGEST_COUNT = 999_999_999
SPREADSHEET_ERRORS = ("#REF!", "#DIV/0!", "#VALUE!", "#NAME?", "#N/A", "#NULL!", "#NUM!")
DAY_FIRST, MONTH_FIRST = "day", "month"
LANGUAGES = ("en", "de", "es", "fr", "it", "nl", "pt")

NUMERIC_DAY = re.compile(r"(\d{1,2})[./\- ]+(\d{1,2})[./\- ]+(\d{4}|\d{2})\b")
YEAR_FIRST = re.compile(r"(\d{4})[./\-](\d{1,2})[./\-](\d{1,2})\b")
DAY_THEN_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th|\.)?[\s\-/]+([^\W\d]+)\.?,?[\s\-/]+(\d{4}|\d{2})\b")
MONTH_THEN_DAY = re.compile(r"([^\W\d]+)\.?\s+(\d{1,2})(?:st|nd|rd|th)?,?\s+(\d{4}|\d{2})\b")
CLOCK = re.compile(r"(?<![\d.])(\d{1,2})[:.](\d{2})(?:[:.]\d{2}(?:\.\d+)?)?\s*([ap])?\.?m?\.?$", re.IGNORECASE)

CURRENCY = re.compile(r"(?<=^\()[A-Z]{3}\s|^[A-Z]{3}\s|\s?[A-Z]{3}(?=\)?$)|[$€£¥]")
MARKS = str.maketrans("–—−’", "---'")  # dashes for minus, and what sets thousands apart
WAY_BEHIND = re.compile(r"(.*\d\W*)((?i:cr|d[rb]?)|C|(?<!\d)c)\.?")  # 4.00 CR, 4.00DR, 4.00C; 25c would be cents

once = lru_cache(maxsize=5000, typed=True)  # a sheet says the same day, name or code again and again


@dataclass(frozen=True)
class When:
    """A day as it stands in a sheet, by the location's own calendar, and the time where one stands beside it."""

    day: date
    clock: time | None = None


@once
def text(cell: Any) -> str:
    """The cell as a person reads it, without odd spaces; empty for an empty cell. Refuses a spreadsheet's error."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    said = re.sub(r"[\s\u00a0\u2007\u202f\ufeff\x00]+", " ", str(cell)).strip()
    if said in SPREADSHEET_ERRORS:
        raise ValueError(f"The formula in this cell shows an error ({said}). Mend it, or write the value.")
    if len(said) > LONGEST_TEXT:
        raise ValueError(f"This cell holds more than {LONGEST_TEXT:,} characters.")
    return said


def amount(cell: Any) -> int | None:
    """Money in whole minor units. Takes currency signs and codes, decimal commas, and minus as banks write it."""
    if isinstance(cell, bool):
        raise ValueError(f"“{cell}” is not an amount. Write it like 12.50.")
    if isinstance(cell, int | float | Decimal):
        return _minor_units(_number(cell))
    said = text(cell)
    if said in ("", "-", "–", "—"):
        return None
    bare = CURRENCY.sub("", said.translate(MARKS)).strip()
    if inside := re.fullmatch(r"\((.*)\)", bare):
        bare = inside[1].strip()
    bare = re.sub(r"^\+(?=[\d.,])|(?<=[\d.,])\+$", "", bare)
    behind = re.search(r"(?<![.,-])-$", bare)  # some write the minus there; 12,- is no minus
    cents = money.parse(bare[: behind.start()] if behind else bare)
    return -abs(cents) if inside or behind else cents


def _number(cell: float | Decimal) -> Decimal:
    try:
        return Decimal(repr(cell)) if isinstance(cell, float) else Decimal(cell)
    except InvalidOperation:
        raise ValueError(f"“{cell}” is not a number.") from None


def _minor_units(value: Decimal) -> int:
    """Numbers in workbooks carry the noise of binary fractions; a real third decimal is refused."""
    unit = money.currency(money.active())
    if not value.is_finite() or abs(value) > LARGEST_COUNT:
        raise ValueError(f"“{value}” is too large to be meant.")
    cents = value * unit.one
    whole = cents.quantize(Decimal(1), rounding=ROUND_HALF_UP)
    if abs(cents - whole) > Decimal("0.001"):
        raise ValueError(f"“{value:g}” has more decimals than {unit.code} knows.")
    return int(whole)


def positive_amount(cell: Any) -> int | None:
    cents = amount(cell)
    if cents is not None and cents < 0:
        raise ValueError(f"{money.as_text(cents)} is below zero, which makes no sense here.")
    return cents


def count(cell: Any) -> int | None:
    """A whole number from 0 up; thousands may be set apart."""
    if isinstance(cell, bool):
        raise ValueError(f"“{cell}” is not a whole number.")
    if isinstance(cell, int | float | Decimal):
        value = _number(cell)
    else:
        said = text(cell)
        if said in ("", "-", "–", "—"):
            return None
        digits = re.sub(r"(?<=\d)[ ',.](?=\d{3}(?!\d))", "", said)
        if not re.fullmatch(r"-?\d{1,12}([.,]0+)?", digits):
            raise ValueError(f"“{said[:40]}” is not a whole number.")
        value = Decimal(digits.replace(",", "."))
    if not value.is_finite() or value != value.to_integral_value():
        raise ValueError(f"“{text(cell)[:40]}” is not a whole number.")
    if not 0 <= value <= LARGEST_COUNT:
        raise ValueError(f"{value:,.0f} cannot be meant here: it has to lie between 0 and {LARGEST_COUNT:,}.")
    return int(value)


def percent(cell: Any) -> int | None:
    """A share in hundredths of a percent. A workbook keeps 40 % as 0.4, so numbers up to 1 are parts of 1."""
    said = text(cell).replace(",", ".")
    if said in ("", "-", "–", "—"):
        return None
    try:
        value = Decimal(said.rstrip("% "))
    except InvalidOperation:
        raise ValueError(f"“{said[:40]}” is not a percentage. Write it like 40 %.") from None
    if value.is_finite() and 0 < value <= 1 and not said.endswith("%"):
        value *= 100
    if not value.is_finite() or not 0 <= value <= 100:
        raise ValueError(f"“{said[:40]}” is no share between 0 and 100 %.")
    return int((value * 100).quantize(Decimal(1), rounding=ROUND_HALF_UP))


@once
def when(cell: Any, order: str = "", from_1904: bool = False) -> When | None:
    """The day (and time) in a cell. `order` says what stands first where both day and month are numbers.

    A plain number is a spreadsheet's day count (ECMA-376 part 1, 18.17.4). Refuses two numbers that could both be the
    month while nobody said the order, and days outside the years this business can have.
    """
    if isinstance(cell, datetime):
        return _in_range(When(cell.date(), cell.time().replace(microsecond=0) if cell.time() != time() else None), cell)
    if isinstance(cell, date):
        return _in_range(When(cell), cell)
    said = text(cell)
    if said in ("", "-", "–", "—"):
        return None
    if re.fullmatch(r"\d{5}([.,]\d+)?", said):
        return _in_range(from_serial(float(said.replace(",", ".")), from_1904), said)
    return _in_range(_written_day(said, order), said)


def _in_range(found: When, said: Any) -> When:
    if not FIRST_YEAR <= found.day.year <= LAST_YEAR:
        raise ValueError(f"“{str(said)[:40]}” lies outside the years {FIRST_YEAR} to {LAST_YEAR}.")
    return found


def from_serial(days: float, from_1904: bool = False) -> When:
    """Days since 30 December 1899, or since 1 January 1904 in old workbooks; the fraction is the time of day."""
    start = datetime(1904, 1, 1, tzinfo=UTC) if from_1904 else datetime(1899, 12, 30, tzinfo=UTC)
    moment = start + timedelta(seconds=round(days * 86_400))
    return When(moment.date(), moment.time() if days % 1 else None)


def _written_day(said: str, order: str) -> When:
    found = _day_in_words(said) or _day_in_numbers(said, order)
    if found is None:
        raise ValueError(f"“{said[:40]}” is not a date. Write it like 2025-03-31.")
    year, month, day, rest = found
    try:
        return When(date(year, month, day), clock(rest))
    except ValueError:
        raise ValueError(f"“{said[:40]}” is no day of the calendar{_as_read(said, order)}.") from None


def _as_read(said: str, order: str) -> str:
    return f" when the {order} stands first" if order and NUMERIC_DAY.search(said) else ""


def _day_in_words(said: str) -> tuple[int, int, int, str] | None:
    """Year, month, day and what follows, where the month is a word or the year stands first."""
    if found := YEAR_FIRST.search(said):
        return int(found[1]), int(found[2]), int(found[3]), said[found.end() :]
    if (found := DAY_THEN_MONTH.search(said)) and (month := months().get(_short(found[2]))):
        return _year(found[3]), month, int(found[1]), said[found.end() :]
    if (found := MONTH_THEN_DAY.search(said)) and (month := months().get(_short(found[1]))):
        return _year(found[3]), month, int(found[2]), said[found.end() :]
    return None


def _day_in_numbers(said: str, order: str) -> tuple[int, int, int, str] | None:
    found = NUMERIC_DAY.search(said)
    if not found:
        return None
    first, second, year = int(found[1]), int(found[2]), _year(found[3])
    if not order and first != second:
        raise ValueError(f"“{said[:40]}”: say whether the day or the month stands first.")
    day, month = (second, first) if order == MONTH_FIRST else (first, second)
    return year, month, day, said[found.end() :]


def _year(digits: str) -> int:
    return int(digits) + (2000 if len(digits) == 2 else 0)


def clock(said: Any) -> time | None:
    """The time of day in a text or cell; None where there is none. Raises ValueError for 25:00."""
    if isinstance(said, datetime):
        return said.time()
    if isinstance(said, time):
        return said
    if isinstance(said, float) and 0 <= said < 1:
        return from_serial(said).clock
    found = CLOCK.search(text(said))
    if not found:
        return None
    hour, minute, half = int(found[1]), int(found[2]), (found[3] or "").lower()
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    return time(hour, minute)


@cache
def months() -> dict[str, int]:
    """Months by the first letters of their names in the languages we know, as many as tell them apart."""
    found: dict[str, int] = {}
    for language in LANGUAGES:
        for width in ("abbreviated", "wide"):
            for number, name in get_month_names(width, locale=language).items():
                found.setdefault(_short(name), number)
    return found


def _short(name: str) -> str:
    return name.casefold().strip(".")[:4]


@once
def order_told_by(cell: Any) -> str:
    """What a date written in numbers tells: the order where only one is possible, “?” where both are, else empty."""
    if isinstance(cell, date | int | float) or cell is None:
        return ""
    said = str(cell)
    found = None if _day_in_words(said) else NUMERIC_DAY.search(said)
    if not found or found[1] == found[2]:
        return ""
    first, second = int(found[1]), int(found[2])
    return DAY_FIRST if first > 12 else MONTH_FIRST if second > 12 else "?"


SIGNS = ("$", "€", "£", "¥")


def own_currency(cell: Any) -> str:
    """What a currency is called, by its code or sign. Refuses another than the business's."""
    said, unit = text(cell), money.currency(money.active())
    if said and said.upper() not in (unit.code, unit.symbol):
        raise ValueError(f"This row is in {said[:10]}; the books are kept in {unit.code}. Leave it out of the file.")
    return said


def own_amount(cell: Any) -> int | None:
    """An amount in the business's currency, below zero where a debit's sign stands behind it. Refuses one that says
    it is in another."""
    said = str(cell) if isinstance(cell, str) else ""
    if len(said) > LONGEST_TEXT:
        raise ValueError(f"This cell holds more than {LONGEST_TEXT:,} characters.")
    unit = money.currency(money.active())
    code = re.search(r"(?<![A-Za-z])[A-Z]{3}(?![A-Za-z])", said)
    sign = next((sign for sign in SIGNS if sign in said), "")
    if (code and code[0] != unit.code) or (sign and sign not in unit.symbol):
        raise ValueError(f"“{said[:40]}” is in another currency; the books are kept in {unit.code}.")
    if found := WAY_BEHIND.fullmatch(said.strip()):
        cents = amount(found[1])
        return cents if cents is None or found[2][0] in "cC" else -abs(cents)
    return amount(cell)
