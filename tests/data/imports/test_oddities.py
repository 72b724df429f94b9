"""What people's spreadsheets really look like. Each oddity is understood, or named in a sentence that helps."""

# ruff: noqa: DTZ001 - workbooks know no time zones

from datetime import UTC, date, datetime

import pytest

from locations.models import Location
from machines.cabinets import queries_meters
from machines.models import Machine
from routeapp.models import ServiceEntry, Visit
from tests import factories
from tests.data.imports.desk import csv_file, workbook

HEAD = ["Date", "Cabinet", "Location", "Cash", "Plays"]
DINER = "Tidewater Diner"


def rows(*lines, head=HEAD):
    return csv_file("\n".join(",".join(line) if isinstance(line, list) else line for line in [head, *lines]))


def takes():
    return list(ServiceEntry.objects.order_by("at", "machine__code").values_list("at__date", "cents"))


def test_title_rows_above_the_heading(desk, world):
    desk.bring(csv_file("Lantern Rounds,,\nAll takes of spring,,\n,,\nDate,Cabinet,Cash\n2025-03-03,C-101,40\n"))

    assert takes() == [(date(2025, 3, 3), 4000)]


def test_heading_row_can_be_chosen_by_hand(desk, world):
    desk.upload(csv_file("Date,Cabinet,Cash,Plays\nwhen,which,money,\n2025-03-03,C-101,40,\n"))
    asked = desk.client.post(desk.address("columns/"), {"again": "1", "s0-heading": "2"})

    assert asked.status_code == 200
    (sheet,) = asked.context["sheets"]
    assert [field.label for field, _ in sheet.bound_columns()] == ["A: when", "B: which", "C: money"]


def test_merged_cells_count_for_each_row(desk, world):
    factories.MachineFactory(code="C-102")

    def merge(book):
        book.active.merge_cells("A3:A4")
        book.active.merge_cells("C3:C4")
        book.active.merge_cells("A1:E1")

    lines = [[datetime(2025, 3, 3), "C-101", DINER, 40], [None, "C-102", None, 25]]
    file = workbook(("Takes", [["Takes of March"], HEAD, *lines]), change=merge)
    desk.check(file)
    assert desk.result["notes"] == ["Merged cells were read as if each of them held the value."]
    desk.bring()

    assert takes() == [(date(2025, 3, 3), 4000), (date(2025, 3, 3), 2500)]


@pytest.mark.parametrize(
    ("total", "why"),
    [
        (["Total", "", "", "70", ""], "“Total”: it is a sum of other rows."),
        (["", "", "", "70", ""], "It names nothing that the numbers in it could belong to; it looks like a sum."),
        (HEAD, "It repeats the heading."),
    ],
)
def test_totals_rows_are_left_out_and_named(desk, world, total, why):
    desk.bring(rows(["2025-03-03", "C-101", "", "40", ""], ["2025-03-10", "C-101", "", "30", ""], total))

    assert takes() == [(date(2025, 3, 3), 4000), (date(2025, 3, 10), 3000)]
    assert [(one["row"], one["text"]) for one in desk.result["left_out"]] == [(4, why)]


def test_dates_in_two_orders_are_asked_about_once(desk, world):
    file = [["03/04/2025", "C-101", "", "40", ""], ["10/04/2025", "C-101", "", "30", ""]]
    desk.check(rows(*file))

    assert desk.result["questions"] == {
        "order": {"example": "03/04/2025", "day": "3 April 2025", "month": "4 March 2025", "shown": {}}
    }
    assert "made" not in desk.result
    assert desk.answer().status_code == 422  # nothing is chosen for the person
    desk.answer(order="day")
    desk.bring()
    assert takes() == [(date(2025, 4, 3), 4000), (date(2025, 4, 10), 3000)]

    desk.check(rows(*file))
    assert "questions" not in desk.result  # told for such a file already


@pytest.mark.parametrize(
    ("first", "second", "days"),
    [
        ("03/25/2025", "04/15/2025", [date(2025, 3, 25), date(2025, 4, 15)]),
        ("25/03/2025", "15/04/2025", [date(2025, 3, 25), date(2025, 4, 15)]),
    ],
)
def test_dates_that_can_be_read_in_one_way_only_need_no_question(desk, world, first, second, days):
    desk.bring(rows([first, "C-101", "", "40", ""], [second, "C-101", "", "30", ""]))

    assert takes() == [(days[0], 4000), (days[1], 3000)]


def test_rows_that_show_the_order_are_named_beside_the_question(desk, world):
    desk.check(rows(["03/04/2025", "C-101", "", "40", ""], ["25/04/2025", "C-101", "", "30", ""]))

    assert "row 3 of route says 25/04/2025" in desk.page()


def test_a_date_in_the_other_order_is_a_problem(desk, world):
    desk.check(rows(["03/04/2025", "C-101", "", "40", ""], ["04/25/2025", "C-101", "", "30", ""]))
    desk.answer(order="day")

    assert desk.problems() == [(3, "A", "“04/25/2025” is no day of the calendar when the day stands first.")]


@pytest.mark.parametrize(
    "said", ["3 Mar 2025", "March 3, 2025", "Mon 3 March 2025", "3. März 2025", "2025/03/03", "2025-03-03 00:00:00"]
)
def test_dates_in_words_need_no_question(desk, world, said):
    desk.bring(csv_file(f"Date;Cabinet;Cash\n{said};C-101;40\n"))

    assert takes() == [(date(2025, 3, 3), 4000)]


def test_serial_dates(desk, world):
    # ECMA-376 part 1, 18.17.4.1: day 1 is 1 January 1900, with the 29 February 1900 that never was.
    # 45719 days later is 3 March 2025 (checked with datetime: date(1899, 12, 30) + 45719 days).
    desk.bring(csv_file("Date,Cabinet,Cash\n45719,C-101,40\n45726.75,C-101,30\n"))

    assert takes() == [(date(2025, 3, 3), 4000), (date(2025, 3, 10), 3000)]
    assert ServiceEntry.objects.order_by("at").last().at == datetime(2025, 3, 10, 18, tzinfo=UTC)


def test_serial_dates_of_1904(desk, world):
    def old(book):
        from openpyxl.utils.datetime import CALENDAR_MAC_1904

        book.epoch = CALENDAR_MAC_1904

    desk.bring(workbook(("Takes", [["Date", "Cabinet", "Cash"], [45719 - 1462, "C-101", 40]]), change=old))

    assert takes() == [(date(2025, 3, 3), 4000)]


@pytest.mark.parametrize(
    ("written", "cents"),
    [
        ("12,50", 1250), ("1.234,50", 123450), ("1,234.50", 123450), ("$12.50", 1250), ("12.50 €", 1250),
        ("USD 12.50", 1250), ("1\u00a0234,50", 123450), ("\u00a012.50\u202f", 1250), ("0", 0), ("–", None),
    ],
)  # fmt: skip
def test_money_as_people_write_it(desk, world, written, cents):
    desk.bring(csv_file(f'Date;Cabinet;Cash;Note\n2025-03-03;C-101;"{written}";seen\n'))

    assert takes() == [(date(2025, 3, 3), cents)]


def test_parentheses_are_a_minus(desk, world):
    desk.check(rows(["2025-03-03", "C-101", "", "(12.50)", ""]))

    assert desk.problems() == [(2, "D", "−$12.50 is below zero, which makes no sense here.")]


def test_binary_noise_of_workbooks_is_no_third_decimal(desk, world):
    desk.bring(workbook(("Takes", [["Date", "Cabinet", "Cash"], ["2025-03-03", "C-101", 0.1 + 0.2]])))
    assert takes() == [(date(2025, 3, 3), 30)]

    desk.check(workbook(("Takes", [["Date", "Cabinet", "Cash"], ["2025-03-04", "C-101", 12.345]])))
    assert desk.problems() == [(2, "C", "“12.345” has more decimals than USD knows.")]


def test_three_spellings_of_one_location(desk, world):
    for number in (102, 103):
        factories.MachineFactory(code=f"C-{number}")
    desk.check(rows(
        ["2025-03-03", "C-101", "Harbour Diner", "40", ""], ["2025-03-10", "C-101", "Harbour Diner", "30", ""],
        ["2025-03-03", "C-102", "Harbor Diner", "20", ""], ["2025-03-03", "C-103", "HARBOUR-DINER", "10", ""],
    ))  # fmt: skip

    assert desk.result["questions"] == {"joins": [["Harbour Diner", "HARBOUR-DINER", "Harbor Diner"]]}
    desk.answer(join0="one")
    desk.bring()
    assert set(Visit.objects.values_list("location__name", flat=True)) == {"Harbour Diner"}
    assert list(Location.objects.values_list("name", flat=True)) == ["Harbour Diner", DINER]


def test_spellings_may_be_two_locations(desk, world):
    factories.MachineFactory(code="C-102")
    desk.check(rows(
        ["2025-03-03", "C-101", "Harbour Diner", "40", ""], ["2025-03-03", "C-102", "Harbor Diner", "20", ""],
    ))  # fmt: skip
    desk.answer(join0="apart")
    desk.bring()

    assert set(Visit.objects.values_list("location__name", flat=True)) == {"Harbour Diner", "Harbor Diner"}


def test_readings_that_go_backwards_are_kept_and_asked_about(desk, world):
    desk.bring(rows(["2025-03-03", "C-101", "", "40", "1350"], ["2025-03-10", "C-101", "", "30", "1200"]))

    assert [one["text"] for one in desk.result["remarks"]] == [
        "C-101: 1,200 is lower than the last reading of 1,350. It is kept, and asked about."
    ]
    found = queries_meters.intervals(
        [world.pk], factories.LONG_AGO.replace(year=2025), datetime(2026, 1, 1, tzinfo=UTC)
    )
    assert [one.interval.question for one in found] == ["1,200 is lower than the last reading of 1,350."]


def test_half_empty_rows(desk, world):
    desk.check(rows(
        ["2025-03-03", "C-101", "", "", ""],
        ["2025-03-10", "", DINER, "40", ""],
        ["", "C-101", "", "30", ""],
    ))  # fmt: skip

    assert [(one["row"], one["text"]) for one in desk.result["left_out"]] == [
        (2, "It names a visit, but no money, reading or note.")
    ]
    assert desk.problems() == [
        (3, "", "This visit does not say at which cabinet."),
        (4, "", "Money or a reading stands here, but no day."),
    ]


def test_headings_of_another_language_are_said_to_be_unknown_and_columns_show_what_differs(desk, world):
    text = "Gerät;Datum;Kasse\nC-101;3.3.2025;40\nC-101;10.3.2025;40\nC-102;17.3.2025;55\n"
    desk.upload(csv_file(text))
    page = desk.client.get(desk.address("columns/")).content.decode()

    assert page.count("None of its headings is known here.") == 1
    assert [page.count(f">{samples}</p>") for samples in ("C-101 · C-102", "40 · 55")] == [1, 1]


def test_wrong_rows_can_be_left_out(desk, world):
    desk.check(rows(["2025-03-03", "C-101", "", "40", ""], ["2025-03-10", "C-101", "", "lots", ""]))
    desk.client.post(desk.address("bring/"))
    assert takes() == []  # all or nothing

    desk.answer(without_wrong="on")
    desk.bring()
    assert takes() == [(date(2025, 3, 3), 4000)]


def test_every_wrong_row_that_was_left_out_is_still_named_afterwards(desk, world):
    twice = ["2025-03-03", "C-101", "", "40", ""]
    desk.check(rows(twice, twice, ["2025-03-10", "C-101", "", "lots", ""]))
    found = desk.problems()
    desk.answer(without_wrong="on")
    desk.bring()

    assert takes() == [(date(2025, 3, 3), 4000)]
    assert [row for row, _, _ in found] == [3, 4]
    assert desk.problems() == found


def test_unknown_cabinet_says_what_to_do(desk, world):
    desk.check(rows(["2025-03-03", "C-900", DINER, "40", ""]), model="")
    assert desk.problems() == [
        (2, "", "C-900 is not known here and nothing says its model. Name one beside the columns.")
    ]

    desk.columns(model="Harbour Claw")
    desk.bring()
    assert Machine.objects.get(code="C-900").model.name == "Harbour Claw"


def test_kind_alone_is_the_model_too(desk, world):
    desk.check(csv_file("Cabinet,Kind,Price\nC-900,Claw (big),1\n"), model="")
    desk.bring()

    made = Machine.objects.get(code="C-900").model
    assert (made.name, made.kind, made.price_cents) == ("Claw (big)", "claw", 100)


def test_a_cabinet_twice_on_one_day(desk, world):
    desk.check(rows(["2025-03-03", "C-101", "", "40", ""], ["2025-03-03", "C-101", "", "30", ""]))

    said = "C-101 stands there twice for this day, in row 2 too."
    assert desk.problems() == [(3, "", f"{said} Put both into one row, or write the times beside them.")]


def test_another_sum_for_a_visit_that_was_brought(desk, world):
    desk.bring(rows(["2025-03-03", "C-101", "", "40", ""]))
    desk.check(rows(["2025-03-03", "C-101", "", "45", ""]))

    assert desk.problems() == [
        (2, "", "The books have another sum for C-101 on that day, from an earlier file. "
                "Correct that visit, or take the earlier import back first."),
    ]  # fmt: skip


def test_days_to_come_are_a_problem(desk, world):
    desk.check(rows(["2098-03-03", "C-101", "", "40", ""]))

    assert desk.problems() == [(2, "", "3 Mar 2098 is still to come.")]


def test_all_questions_come_at_once(desk, world):
    desk.check(
        rows(["03/04/2025", "C-101", "Harbour Diner", "40", ""], ["10/04/2025", "C-101", "Harbor Diner", "30", ""])
    )

    assert sorted(desk.result["questions"]) == ["joins", "order"]
