"""Published percentages of depreciation, dated, each with its source. They are shown; whether they apply is not said.

The printed percentages are used as they stand: the formula behind them gives 8.925 where the table prints 8.93, 8.92
and 8.93, so that a column comes to 100.00.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

ALL_BP = 10_000  # 100 %, in hundredths of a percent
FIRST_DAY = date(1987, 1, 1)  # tables of the general depreciation system: property put in service after 1986


class Timing(StrEnum):
    """When in its first and last year property counts as put in service, or as sold."""

    HALF_YEAR = "half_year"
    QUARTER_1 = "quarter_1"
    QUARTER_2 = "quarter_2"
    QUARTER_3 = "quarter_3"
    QUARTER_4 = "quarter_4"

    @property
    def words(self) -> str:
        return "half-year" if self is Timing.HALF_YEAR else f"mid-quarter, quarter {self[-1]}"


@dataclass(frozen=True)
class Table:
    """One column of a published table: hundredths of a percent of the basis, year by year."""

    name: str
    timing: Timing
    years: int
    rates: tuple[int, ...]
    source: str
    valid_from: date = FIRST_DAY


def _columns(name: str, timing: Timing, five: str, seven: str, remark: str = "") -> tuple[Table, Table]:
    source = f"IRS Publication 946, Appendix A, Table {name}{remark}"

    def column(years: int, printed: str) -> Table:
        return Table(name, timing, years, tuple(int(rate.replace(".", "")) for rate in printed.split()), source)

    return column(5, five), column(7, seven)


TABLES = (
    *_columns(
        "A-1",
        Timing.HALF_YEAR,
        "20.00 32.00 19.20 11.52 11.52 5.76",
        "14.29 24.49 17.49 12.49 8.93 8.92 8.93 4.46",
    ),
    *_columns(
        "A-2",
        Timing.QUARTER_1,
        "35.00 26.00 15.60 11.01 11.01 1.38",
        "25.00 21.43 15.31 10.93 8.75 8.74 8.75 1.09",
    ),
    *_columns(
        "A-3",
        Timing.QUARTER_2,
        "25.00 30.00 18.00 11.37 11.37 4.26",
        "17.85 23.47 16.76 11.97 8.87 8.87 8.87 3.34",
        ", from memory",
    ),
    *_columns(
        "A-4",
        Timing.QUARTER_3,
        "15.00 34.00 20.40 12.24 11.30 7.06",
        "10.71 25.51 18.22 13.02 9.30 8.85 8.86 5.53",
        ", from memory",
    ),
    *_columns(
        "A-5",
        Timing.QUARTER_4,
        "5.00 38.00 22.80 13.68 10.94 9.58",
        "3.57 27.55 19.68 14.06 10.04 8.73 8.73 7.64",
    ),
)
CLASSES = (5, 7)


def table_for(years: int, timing: Timing, in_service: date) -> Table | None:
    """The column that was in force on a day; None where none was, or for a class without one."""
    fitting = [one for one in TABLES if (one.years, one.timing) == (years, timing) and one.valid_from <= in_service]
    return max(fitting, key=lambda one: one.valid_from, default=None)


@dataclass(frozen=True)
class Allowance:
    """The special share of the basis in the first year, for property acquired from a day on."""

    since: date
    bp: int
    source: str


_PHASE_DOWN = (
    "https://bradfordtaxinstitute.com/Content/OBBBA-Restores-and-Creates-New-100-Percent-Deductions-for-You-Now.aspx"
)
ALLOWANCES: Sequence[Allowance] = (
    Allowance(date(2023, 1, 1), 8_000, _PHASE_DOWN),
    Allowance(date(2024, 1, 1), 6_000, _PHASE_DOWN),
    Allowance(date(2025, 1, 1), 4_000, _PHASE_DOWN),
    Allowance(date(2025, 1, 20), 10_000, _PHASE_DOWN),
)


def allowance_on(acquired: date) -> Allowance | None:
    """What was published for property acquired on a day; None before the first row."""
    return max((one for one in ALLOWANCES if one.since <= acquired), key=lambda one: one.since, default=None)
