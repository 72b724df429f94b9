"""Statements read by what a person said their columns mean."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from routeapp.kit.reading.forms import ColumnsForm
from routeapp.kit.reading.headings import Meaning, Vocabulary
from routeapp.kit.reading.moments import moment
from routeapp.kit.reading.sheet import Unreadable
from routeapp.kit.reading.statement import MOMENT, UNKNOWN, Said, look, order_of, read

CHICAGO = ZoneInfo("America/Chicago")
WORDS = Vocabulary(
    {
        "When": (Meaning("day", "Day", words=("date",)), Meaning("clock", "Time", words=("time",))),
        "What": (Meaning("amount", "Amount", "amount", words=("amount", "sum")),),
    }
)


def utc(*parts):
    return datetime(*parts, tzinfo=UTC)


@pytest.mark.parametrize(
    ("day", "clock", "expected"),
    [
        ("2026-03-02 14:05:09", None, utc(2026, 3, 2, 20, 5, 9)),
        ("2026-03-02T14:05:09Z", None, utc(2026, 3, 2, 14, 5, 9)),
        ("2026-03-02T14:05:09+02:00", None, utc(2026, 3, 2, 12, 5, 9)),
        ("03/02/2026 2:05 PM", None, utc(2026, 3, 2, 20, 5)),
        ("03/02/2026", "14:05:09", utc(2026, 3, 2, 20, 5, 9)),
        ("2026-03-02 14:05 UTC", None, utc(2026, 3, 2, 14, 5)),
        ("2026-03-02", None, utc(2026, 3, 2, 18)),  # a day alone is at noon
        (date(2026, 3, 2), time(9, 30), utc(2026, 3, 2, 15, 30)),
        ("2026-11-01 01:30", None, utc(2026, 11, 1, 6, 30)),  # the hour that comes twice: the first
        ("", "14:05", None),
    ],
)
def test_moment_of_a_row_is_read_in_the_zone_that_was_named(day, clock, expected):
    assert moment(day, clock, CHICAGO, "month") == expected


@pytest.mark.parametrize("day", ["1999-01-01 10:00:00", "9999-12-31T23:59:59", "yesterday", "2026-13-40 10:00"])
def test_moment_that_cannot_be_meant_is_refused(day):
    with pytest.raises(ValueError, match="“"):
        moment(day, None, CHICAGO, "month")


def test_time_that_is_none_is_refused():
    with pytest.raises(ValueError, match="is not a time of day"):
        moment("2026-03-02", "noonish", CHICAGO, "")


@pytest.fixture
def file(tmp_path):
    def write(text):
        path = tmp_path / "statement.csv"
        path.write_text(text)
        return path

    return write


def test_statement_is_read_below_its_heading_with_every_problem_by_row(file):
    looked = look(file("Our processor\nDate,Time,Amount\n2026-03-02,10:00,1.00\n2026-03-02,late,x\n"), "a.csv", WORDS)
    said = Said(looked.heading, {0: "day", 1: "clock", 2: "amount"}, "UTC")
    found = read(looked.sheet, said, WORDS)
    assert (looked.heading, looked.samples(2, 2)) == (2, ["1.00", "x"])
    assert [(line.row, line.values) for line in found.lines] == [(3, {"amount": 100, MOMENT: utc(2026, 3, 2, 10)})]
    assert [(one.row, one.column) for one in found.problems] == [(4, "C"), (4, "A")]


def test_statement_without_rows_is_refused(file):
    with pytest.raises(Unreadable, match="below a row of headings"):
        look(file("Date,Amount\n"), "a.csv", WORDS)


@pytest.mark.parametrize(
    ("days", "order"),
    [
        ("03/02/2026\n03/25/2026", "month"),
        ("03/02/2026\n25/02/2026", "day"),
        ("03/02/2026", UNKNOWN),
        ("5 May 2026", ""),
    ],
)
def test_order_of_day_and_month_is_told_by_the_whole_sheet(file, days, order):
    looked = look(file(f"Date,Amount\n{days}\n"), "a.csv", WORDS)
    assert order_of(looked.sheet, Said(1, {0: "day"}, "UTC")) == order


def _form(looked, **data):
    said = {"heading": "1", "zone": "UTC", "c0": "day", "c1": "amount"} | data
    return ColumnsForm(said, look=looked, vocabulary=WORDS, remembered={})


def test_columns_are_guessed_then_said_and_kept(file):
    looked = look(file("Date,Amount\n2026-03-02,1\n"), "a.csv", WORDS)
    empty = ColumnsForm(look=looked, vocabulary=WORDS, remembered={})
    assert [field.initial for field, _ in empty.bound_columns()] == ["day", "amount"]
    form = _form(looked)
    assert form.is_valid()
    assert form.kept() == {"heading": 1, "columns": {"0": "day", "1": "amount"}, "zone": "UTC", "order": ""}


@pytest.mark.parametrize(
    ("data", "field"),
    [
        ({"c1": "day"}, "__all__"),
        ({"c0": ""}, "__all__"),
        ({"zone": "Nowhere/Land"}, "zone"),
        ({"heading": "9"}, "heading"),
    ],
)
def test_columns_that_make_no_statement_are_told(file, data, field):
    looked = look(file("Date,Amount\n2026-03-02,1\n"), "a.csv", WORDS)
    assert list(_form(looked, **data).errors) == [field]


def test_order_is_asked_for_only_where_the_file_does_not_tell(file):
    looked = look(file("Date,Amount\n03/02/2026,1\n"), "a.csv", WORDS)
    assert list(_form(looked).errors) == ["order"]
    assert _form(looked, order="month").is_valid()
