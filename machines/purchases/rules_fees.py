"""Fees of United States customs, dated, each with its source. A day the tables do not know has no figure.

Rate and base limits: 19 CFR 24.23; the harbour fee: 19 CFR 24.24. The yearly limits are published, not computed:
the base limits times the printed factor miss the maximum of 2026 by a cent.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from routeapp.kit.money import half_up

PROCESSING_RATE = Decimal("0.003464")  # ad valorem, 19 CFR 24.23(b)(1)(i)(A)
HARBOUR_RATE = Decimal("0.00125")  # by sea only, no least and no most, 19 CFR 24.24(a)
INFORMAL_UP_TO = 2_500_00  # dollars of value; 19 CFR 143.21, from memory


@dataclass(frozen=True)
class FeeYear:
    """What one entry pays at least and at most from `since` until the day before `until`, in cents.

    `informal` is the automated fee of an informal entry; None where no source was seen.
    """

    since: date
    until: date
    least: int
    most: int
    source: str
    informal: int | None = None

    @property
    def name(self) -> str:
        return f"fiscal year {self.until.year}"


def _year(year: int, least: int, most: int, source: str, informal: int | None = None) -> FeeYear:
    """A fiscal year runs from the first of October before it; that of 2018 is known from January on."""
    since = date(2018, 1, 1) if year == 2018 else date(year - 1, 10, 1)
    return FeeYear(since, date(year, 10, 1), least, most, source, informal)


FEE_YEARS = (
    _year(2018, 2567, 49799, "https://www.bdginternational.com/cbp-user-fees-2/"),
    _year(2019, 2622, 50870, "https://www.prologixcorp.com/news/2018/8/1/customs-fees-to-be-adjusted-due-to-inflation"),
    _year(2020, 2679, 51976, "https://customsnow.com/fy2020-cbp-increases-mpf-min-and-max-amount/"),
    _year(2021, 2723, 52833, "https://www.mallorygroup.com/cbp-merchandise-processing-fee-mpf-effective-oct-1/"),
    _year(2022, 2775, 53840, "from memory"),
    _year(2023, 2966, 57535, "from memory"),
    _year(
        2024,
        3167,
        61435,
        "https://imsw.com/cbp-adjusting-merchandise-processing-fee-limitations-in-fiscal-year-2025-due-to-inflation",
    ),  # fmt: skip # noqa: E501
    _year(
        2025,
        3271,
        63462,
        "https://imsw.com/cbp-adjusting-merchandise-processing-fee-limitations-in-fiscal-year-2025-due-to-inflation",
    ),  # fmt: skip # noqa: E501
    _year(
        2026,
        3358,
        65150,
        "90 FR 34665, CBP Dec. 25-10, https://www.govinfo.gov/content/pkg/FR-2025-07-23/html/2025-13869.htm",
        269,
    ),  # fmt: skip # noqa: E501
)


def fee_year(day: date) -> FeeYear | None:
    """The limits in force on a day; None for a day outside of the table."""
    return next((year for year in FEE_YEARS if year.since <= day < year.until), None)


def last_known(day: date) -> FeeYear:
    """The newest year that had begun by then, or the first one there is."""
    begun = [year for year in FEE_YEARS if year.since <= day]
    return begun[-1] if begun else FEE_YEARS[0]


def processing_fee(value_cents: int, year: FeeYear) -> int | None:
    """The merchandise processing fee on an entry's value, both in cents; None where the year's figure is not known."""
    if value_cents <= INFORMAL_UP_TO:
        return year.informal
    return min(max(half_up(value_cents * PROCESSING_RATE), year.least), year.most)


def harbour_fee(value_cents: int) -> int:
    return half_up(value_cents * HARBOUR_RATE)


def whole_dollars(value_cents: int) -> int:
    """The value that duty is worked out on: less than 50 cents are dropped, 50 or more count as a dollar.

    19 CFR 159.3(a). In and out in cents.
    """
    return (value_cents + 50) // 100 * 100
