"""Money in whole minor units: reading what people type, showing it, and splitting it without losing a cent."""

import re
from contextvars import ContextVar
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import lru_cache
from unicodedata import category

from babel.core import get_global
from babel.numbers import get_currency_name, get_currency_precision, get_currency_symbol

_active: ContextVar[str] = ContextVar("currency", default="USD")


def activate(code: str) -> None:
    """Make `code` (ISO 4217) the currency of this request, as timezone.activate does for the clock."""
    _active.set(code)


def active() -> str:
    return _active.get()


@dataclass(frozen=True)
class Currency:
    code: str
    symbol: str
    digits: int  # decimals of the minor unit: 2 for USD, 0 for JPY

    @property
    def one(self) -> int:
        """Minor units in one whole unit of the currency."""
        return int(10**self.digits)


@lru_cache
def currency(code: str) -> Currency:
    return Currency(code, get_currency_symbol(code, locale="en"), get_currency_precision(code))


def currency_choices() -> list[tuple[str, str]]:
    """Every currency that is legal tender somewhere today, by its English name."""
    uses = [use for uses in get_global("territory_currencies").values() for use in uses]
    codes = {code for code, _, until, tender in uses if tender and until is None}
    return sorted(
        ((code, f"{get_currency_name(code, locale='en')} ({code})") for code in codes), key=lambda one: one[1]
    )


def as_text(cents: int, code: str | None = None) -> str:
    """Write `cents` (whole minor units) with symbol, for example $1,234.50 or −$3.00."""
    unit = currency(code or active())
    whole, part = divmod(abs(cents), unit.one)
    decimals = f".{part:0{unit.digits}d}" if unit.digits else ""
    return f"{'−' if cents < 0 else ''}{unit.symbol}{whole:,}{decimals}"


def as_input(cents: int, code: str | None = None) -> str:
    """Write `cents` as it stands in an input field: digits and a point, no symbol."""
    unit = currency(code or active())
    return f"{Decimal(cents) / unit.one:.{unit.digits}f}"


# 1,234,567.89 or 1.234.567,89, and what has at most one separator.
GROUPED = re.compile(r"[1-9]\d{0,2}(?:(?:,\d{3}){1,3}(?:\.\d*)?|(?:\.\d{3}){1,3}(?:,\d*)?)")
PLAIN = re.compile(r"(?=[.,]?\d)\d{0,12}(?:[.,]\d*)?")


def parse(text: str, code: str | None = None) -> int:
    """Read an amount a person typed into whole minor units.

    Takes a decimal point or comma, thousands separators, the currency's sign and “12,-”. A single separator
    between one to three digits and exactly three is a thousands separator, as nobody writes tenths of a cent; a
    point is not where the currency has three decimals. Raises ValueError with a sentence, also for another currency.
    """
    unit = currency(code or active())
    signed = _without_sign(re.sub(r"[\s\u00a0\u202f']", "", text), unit).replace("−", "-")
    if any(category(sign) == "Sc" for sign in signed) or re.search(r"(?<![A-Za-z])[A-Z]{3}(?![A-Za-z])", signed):
        raise ValueError(f"“{text[:40]}” is in another currency. Here amounts are in {unit.code}.")
    plain = re.sub(r"(?<=\d)[.,][-–—]{1,2}$", "", signed.removeprefix("-"))
    has_three_decimals = unit.digits == 3 and re.fullmatch(r"\d+\.\d{3}", plain)
    if GROUPED.fullmatch(plain) and not has_three_decimals:
        separator = next(sign for sign in plain if sign in ".,")
        plain = plain.replace(separator, "")
    elif not PLAIN.fullmatch(plain):
        raise ValueError(f"“{text[:40]}” is not an amount. Write it like 12.50.")
    whole, _, decimals = plain.replace(",", ".").partition(".")
    if len(decimals) > unit.digits:
        raise ValueError(f"“{text[:40]}” has more decimals than {unit.code} knows.")
    cents = int(whole or 0) * unit.one + int(decimals.ljust(unit.digits, "0") or 0)
    return -cents if signed.startswith("-") else cents


def _without_sign(text: str, unit: Currency) -> str:
    """Without the sign of the currency itself: “CA$”, “$” or “CAD”."""
    for sign in (unit.symbol, unit.code, unit.symbol[-1]):
        text = text.replace(sign, "")
    return text


def half_up(value: Decimal | Fraction) -> int:
    """Round to whole units, halves away from zero (commercial rounding)."""
    if isinstance(value, Fraction):
        twice, whole = 2 * abs(value.numerator), value.denominator
        return (1 if value >= 0 else -1) * ((twice + whole) // (2 * whole))
    return int(value.quantize(Decimal(1), rounding=ROUND_HALF_UP))


def split(total: int, weights: list[int]) -> list[int]:
    """Share out a whole `total` in proportion to `weights` so that nothing is lost: the largest-remainder
    rule (Hamilton's method, used for the 1790 apportionment of the US House).

    Ties go to the earlier place, so the same input always gives the same split. With no positive weight
    everything is shared evenly. Raises ValueError for negative weights or none at all.
    """
    if not weights or min(weights) < 0:
        raise ValueError("A split needs at least one weight, and none below zero.")
    if not sum(weights):
        weights = [1] * len(weights)
    sign, amount, base = (-1 if total < 0 else 1), abs(total), sum(weights)
    parts = [amount * weight // base for weight in weights]
    remainders = [amount * weight % base for weight in weights]
    by_remainder = sorted(range(len(weights)), key=lambda place: (-remainders[place], place))
    for place in by_remainder[: amount - sum(parts)]:
        parts[place] += 1
    return [sign * part for part in parts]
