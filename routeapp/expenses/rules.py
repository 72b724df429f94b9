"""Kinds of expenses, and what driving is worth: dated rates per mile or kilometre, distances by road, on paper."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from geographiclib.geodesic import Geodesic

from routeapp.kit import money
from routeapp.kit.choices import TextChoices
from routeapp.kit.money import half_up


class Category(TextChoices):
    """What money was spent on; which of it counts for tax an accountant says."""

    PARTS = "parts", "Parts and repairs"
    TOOLS = "tools", "Tools and supplies"
    VEHICLE = "vehicle", "Fuel and vehicle"
    FREIGHT = "freight", "Freight and postage"
    STORAGE = "storage", "Storage and workshop"
    PERMITS = "permits", "Permits and stickers"
    INSURANCE = "insurance", "Insurance"
    PHONE = "phone", "Telephone and data"
    OFFICE = "office", "Office and bank"
    WAGES = "wages", "Help that was paid"
    OTHER = "other", "Other"


class Unit(TextChoices):
    MILE = "mi", "miles"
    KILOMETRE = "km", "kilometres"


KILOMETRES = {Unit.MILE: Fraction(1_609_344, 1_000_000), Unit.KILOMETRE: Fraction(1)}  # the international mile, exact
CIRCUITY = 1.2  # road over straight line in towns: G. F. Newell, Traffic Flow on Transportation Networks, 1980


@dataclass(frozen=True)
class Rate:
    """What one mile or kilometre is worth from a day to another, both included (no last day: until further notice),
    in hundredths of a minor unit."""

    valid_from: date
    valid_to: date | None
    unit: str
    hundredths: int
    source: str

    def holds_on(self, day: date) -> bool:
        return self.valid_from <= day and (self.valid_to is None or day <= self.valid_to)

    @property
    def words(self) -> str:
        unit = money.currency(money.active())
        worth = Decimal(self.hundredths) / (100 * unit.one)
        worth = max(worth.normalize(), worth.quantize(Decimal(1).scaleb(-unit.digits)), key=_decimals)
        return f"{unit.symbol}{worth:f} a {'mile' if self.unit == Unit.MILE else 'kilometre'}"


def _decimals(amount: Decimal) -> int:
    return -int(amount.as_tuple().exponent)


# Where each value was read stands beside its check; the numbers of the notices before 2026 are from memory.
_TABLE = (
    "Internal Revenue Service, standard mileage rates: https://www.irs.gov/tax-professionals/standard-mileage-rates"
)
_BY_YEAR: dict[int, tuple[int, str]] = {
    2012: (5550, _TABLE),
    2013: (5650, _TABLE),
    2014: (5600, _TABLE),
    2015: (5750, _TABLE),
    2016: (5400, _TABLE),
    2017: (5350, _TABLE),
    2018: (5450, _TABLE),
    2019: (5800, _TABLE),
    2020: (5750, _TABLE),
    2021: (5600, "IRS Notice 2021-02"),
    2023: (6550, "IRS Notice 2023-03"),
    2024: (6700, "IRS Notice 2024-08"),
    2025: (7000, "IRS Notice 2025-05"),
    2026: (7250, "IRS Notice 2026-10"),
}
# Business use of a car in the United States, in dollars. Two years changed on 1 July.
STANDARD = tuple(
    sorted(
        [
            Rate(date(year, 1, 1), date(year, 12, 31), Unit.MILE, cents, source)
            for year, (cents, source) in _BY_YEAR.items()
        ]
        + [
            Rate(date(2011, 1, 1), date(2011, 6, 30), Unit.MILE, 5100, _TABLE),
            Rate(date(2011, 7, 1), date(2011, 12, 31), Unit.MILE, 5550, _TABLE),
            Rate(date(2022, 1, 1), date(2022, 6, 30), Unit.MILE, 5850, "IRS Notice 2022-03"),
            Rate(date(2022, 7, 1), date(2022, 12, 31), Unit.MILE, 6250, "IRS Announcement 2022-13"),
        ],
        key=lambda rate: rate.valid_from,
    )
)


def rate_on(day: date, own: Sequence[Rate], currency: str) -> Rate | None:
    """The rate of a day: one that the business wrote down, else the standard one where the books are in dollars.

    Of two own rates that hold, the one that starts later. None on a day that no table knows.
    """
    written = [rate for rate in own if rate.holds_on(day)]
    standard = [rate for rate in STANDARD if rate.holds_on(day)] if currency == "USD" else []
    return max(written or standard, key=lambda rate: rate.valid_from, default=None)


def worth(tenths: int, unit: str, rate: Rate) -> int:
    """What `tenths` of a mile or kilometre driven come to, in minor units, half up."""
    distance = Fraction(tenths, 10) * KILOMETRES[Unit(unit)] / KILOMETRES[Unit(rate.unit)]
    return half_up(distance * rate.hundredths / 100)


def by_road(points: Iterable[tuple[float, float]], unit: str) -> int:
    """About how far it is by road along these (latitude, longitude), in tenths of a mile or kilometre."""
    along = list(points)
    metres = sum(
        Geodesic.WGS84.Inverse(*one, *other, Geodesic.DISTANCE)["s12"]
        for one, other in zip(along, along[1:], strict=False)
    )
    return half_up(Fraction(round(metres * CIRCUITY)) / 100 / KILOMETRES[Unit(unit)])
