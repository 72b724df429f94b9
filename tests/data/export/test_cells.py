"""Every value comes back from its cell as it was, and no cell is a formula."""

from datetime import UTC, date, datetime, time
from decimal import Decimal
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as some

from routeapp.data.export import rules_cells as cells
from routeapp.data.export.rules_workbook import plain
from routeapp.kit.sheets import STARTS_A_FORMULA

TEXTS = some.text(some.characters(exclude_characters="\0", exclude_categories=["Cs"]))
VALUES = [
    (cells.WHOLE, some.integers(-(2**63), 2**63 - 1)),
    (cells.TEXT, TEXTS | some.builds("".join, some.tuples(some.sampled_from(["'", *STARTS_A_FORMULA]), TEXTS))),
    (cells.YES_OR_NO, some.booleans()),
    (cells.MOMENT, some.datetimes(datetime(1900, 1, 1), datetime(2999, 1, 1), timezones=some.just(UTC))),  # noqa: DTZ001
    (cells.DAY, some.dates()),
    (cells.TIME, some.times()),
    (cells.ID, some.uuids()),
    (cells.DECIMAL, some.decimals(-180, 180, places=6)),
    (
        cells.DOCUMENT,
        some.recursive(some.integers() | TEXTS | some.booleans(), lambda one: some.lists(one, max_size=3)),
    ),
]


@pytest.mark.parametrize(("kind", "values"), VALUES, ids=lambda one: getattr(one, "words", ""))
def test_value_comes_back_as_it_was(kind, values):
    @given(some.none() | values)
    def comes_back(value):
        cell = cells.write(kind, value, nullable=True)
        assert cells.read(kind, cell, nullable=True) == value
        assert kind not in (cells.TEXT, cells.DOCUMENT) or not cell.startswith(STARTS_A_FORMULA)

    comes_back()


def test_no_text_and_empty_text_differ_where_both_can_be():
    assert [cells.write(cells.TEXT, value, nullable=True) for value in (None, "", "'")] == ["", "'", "''"]


@pytest.mark.parametrize(
    ("kind", "cell"),
    [
        (cells.WHOLE, "12,5"),
        (cells.WHOLE, "1" * 30),
        (cells.WHOLE, ""),
        (cells.YES_OR_NO, "true"),
        (cells.MOMENT, "2026-03-02 10:00"),
        (cells.MOMENT, "0001-01-01T00:00:00+14:00"),
        (cells.DAY, "02.03.2026"),
        (cells.TIME, "25:00"),
        (cells.ID, "7"),
        (cells.DECIMAL, "NaN"),
        (cells.DECIMAL, "1e9"),
        (cells.TEXT, "a\0b"),
        (cells.DOCUMENT, "{"),
        (cells.DOCUMENT, "[" * 100_000),
    ],
)
def test_cell_that_cannot_be_read_is_told_in_words(kind, cell):
    with pytest.raises(ValueError, match=r"^(holds “|is empty)"):
        cells.read(kind, cell)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (None, None),
        (12, 12),
        (10**15, "1000000000000000"),
        (True, "yes"),
        (date(2026, 3, 2), date(2026, 3, 2)),
        (time(9, 30), time(9, 30)),
        (datetime(2026, 3, 2, 10, tzinfo=UTC), datetime(2026, 3, 2, 10)),  # noqa: DTZ001
        (Decimal("1.50"), Decimal("1.50")),
        (UUID(int=1), "00000000-0000-0000-0000-000000000001"),
        ({"a": [1]}, '{"a": [1]}'),
        ("bell\x07", "bell\ufffd"),
    ],
)
def test_workbook_shows_values_as_spreadsheets_know_them(value, shown):
    assert plain(value) == shown


def test_text_too_long_for_a_cell_says_where_all_of_it_is():
    assert (len(plain("x" * 40_000)), plain("x" * 40_000)[-31:]) == (32_767, "x… (the CSV file has all of it)")
