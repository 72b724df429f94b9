"""A running business brought in from a spreadsheet: what each kind of row makes."""

# ruff: noqa: DTZ001 - workbooks know no time zones

from datetime import date, datetime

from locations.models import Agreement, Host, Location, Placement
from machines.models import CabinetModel, Machine, Meter, Reading
from routeapp.models import CashMove, Holding, Prize, PrizeCost, ServiceEntry, Visit
from tests.data.imports.desk import csv_file, workbook

CABINETS = """Code,Model,Serial,Price,Location,Host,Address,Phone,Placed on,Share
C-101,Harbour Claw,HC-7,1.00,Tidewater Diner,Tidewater Foods,12 Quay Road,555-0142,2025-01-06,40%
C-102,Harbour Claw,HC-8,1.00,Tidewater Diner,Tidewater Foods,12 Quay Road,555-0142,2025-01-06,40%
C-103,Lantern Capsule,,0.50,Mill Lane Launderette,,3 Mill Lane,,2025-02-03,35%
"""
VISITS = """Date,Cabinet,Location,Cash,Plays,Note
2025-03-03,C-101,Tidewater Diner,40.00,1000,
2025-03-03,C-102,Tidewater Diner,22.50,500,Glass cleaned
2025-03-10,C-101,Tidewater Diner,30.00,1030,
"""


def test_cabinets_where_they_stand(desk):
    desk.bring(csv_file(CABINETS))

    assert desk.result["made"] == {
        "hosts": 2, "locations": 2, "contacts": 1, "models": 2, "cabinets": 3, "agreements": 2, "placements": 3,
    }  # fmt: skip
    assert list(
        Machine.objects.values_list("code", "model__name", "model__kind", "serial", "price_cents", "status")
    ) == [
        ("C-101", "Harbour Claw", "claw", "HC-7", 100, "placed"),
        ("C-102", "Harbour Claw", "claw", "HC-8", 100, "placed"),
        ("C-103", "Lantern Capsule", "capsule", "", 50, "placed"),
    ]
    assert list(Location.objects.values_list("name", "host__name", "address")) == [
        ("Mill Lane Launderette", "Mill Lane Launderette", "3 Mill Lane"),
        ("Tidewater Diner", "Tidewater Foods", "12 Quay Road"),
    ]
    placed = Placement.objects.order_by("machine__code").values_list(
        "machine__code", "location__name", "started_at__date"
    )
    assert list(placed) == [
        ("C-101", "Tidewater Diner", date(2025, 1, 6)),
        ("C-102", "Tidewater Diner", date(2025, 1, 6)),
        ("C-103", "Mill Lane Launderette", date(2025, 2, 3)),
    ]
    terms = Agreement.objects.order_by("starts_on").values_list("location__name", "starts_on", "terms__rate_bp")
    assert list(terms) == [
        ("Tidewater Diner", date(2025, 1, 6), 4000), ("Mill Lane Launderette", date(2025, 2, 3), 3500),
    ]  # fmt: skip


def test_check_writes_nothing(desk):
    desk.check(csv_file(CABINETS))

    assert "Ready to bring in" in desk.page()
    assert (Machine.objects.count(), Location.objects.count(), Host.objects.count()) == (0, 0, 0)


def test_past_visits_make_takes_and_readings(desk):
    desk.bring(csv_file(CABINETS))
    desk.bring(csv_file(VISITS))

    assert desk.result["made"] == {"visits": 2, "bags": 1}
    entries = ServiceEntry.objects.order_by("at", "machine__code").values_list("machine__code", "cents", "note")
    assert list(entries) == [("C-101", 4000, ""), ("C-102", 2250, "Glass cleaned"), ("C-101", 3000, "")]
    assert [*Meter.objects.values_list("machine__code", "counts", "value_cents").order_by("machine__code")] == [
        ("C-101", "plays", 100), ("C-102", "plays", 100),
    ]  # fmt: skip
    assert Reading.objects.filter(kind="reading").count() == 3


def test_past_money_is_at_the_bank_unless_said_otherwise(desk):
    desk.bring(csv_file(CABINETS))
    desk.bring(csv_file(VISITS))

    banked = CashMove.objects.filter(to_purse="bank").values_list("cents", "day")
    assert list(banked) == [(9250, date(2025, 3, 10))]


def test_past_money_may_still_lie_in_bags(desk):
    desk.bring(csv_file(CABINETS))
    desk.bring(csv_file(VISITS), banked=None)

    assert not CashMove.objects.filter(to_purse="bank").exists()


def test_visits_alone_say_where_cabinets_stood(desk):
    moved = VISITS + "2025-04-07,C-101,Mill Lane Launderette,12.00,1050,\n"
    desk.bring(csv_file(moved), model="Harbour Claw", price_cents="1")

    assert desk.result["problem_count"] == 0
    stood = Placement.objects.order_by("machine__code", "started_at").values_list(
        "machine__code", "location__name", "started_at__date", "ended_at__date"
    )
    assert list(stood) == [
        ("C-101", "Tidewater Diner", date(2025, 3, 3), date(2025, 4, 7)),
        ("C-101", "Mill Lane Launderette", date(2025, 4, 7), None),
        ("C-102", "Tidewater Diner", date(2025, 3, 3), None),
    ]


def test_a_column_for_each_cabinet(desk):
    desk.bring(csv_file(CABINETS))
    desk.bring(csv_file("Date,C-101,C-102,C-103\n2025-03-03,40,22.50,\n2025-03-10,30,,8.50\n"))

    entries = ServiceEntry.objects.order_by("at", "machine__code").values_list("machine__code", "cents", "at__date")
    assert list(entries) == [
        ("C-101", 4000, date(2025, 3, 3)), ("C-102", 2250, date(2025, 3, 3)),
        ("C-101", 3000, date(2025, 3, 10)), ("C-103", 850, date(2025, 3, 10)),
    ]  # fmt: skip


def test_prizes_and_stock(desk):
    desk.bring(csv_file("Prize,Supplier,Qty,Unit cost\nPlush otter,Kite & Co,120,1.25\nGlow ring,,400,\n"))

    assert desk.result["made"] == {"prizes": 2, "stores": 1, "stock entries": 2}
    assert list(Prize.objects.values_list("name", "supplier")) == [("Glow ring", ""), ("Plush otter", "Kite & Co")]
    assert dict(Holding.objects.values_list("prize__name", "pieces")) == {"Plush otter": 120, "Glow ring": 400}
    assert list(PrizeCost.objects.values_list("prize__name", "value_cents")) == [("Plush otter", 15000)]


def test_a_workbook_with_a_sheet_for_everything(desk):
    desk.bring(workbook(
        ("Cabinets", [["Code", "Model", "Price", "Location", "Since"],
                      ["C-101", "Harbour Claw", 1, "Tidewater Diner", datetime(2025, 1, 6)]]),
        ("Visits", [["Date", "Cabinet", "Cash"], [datetime(2025, 3, 3), "C-101", 40.5]]),
        ("Prizes", [["Prize", "Qty"], ["Plush otter", 12]]),
    ))  # fmt: skip

    assert desk.result["made"] == {
        "hosts": 1, "locations": 1, "models": 1, "cabinets": 1, "placements": 1, "prizes": 1, "stores": 1,
        "stock entries": 1, "visits": 1, "bags": 1,
    }  # fmt: skip
    assert ServiceEntry.objects.get().cents == 4050


def test_the_same_file_twice_changes_nothing(desk):
    for _ in range(2):
        desk.bring(csv_file(CABINETS))
        desk.bring(csv_file(VISITS))

    assert desk.result["made"] == {}
    assert desk.result["same"] == {"locations": 1, "cabinets": 2, "visits": 2}
    assert (Machine.objects.count(), Placement.objects.count(), Visit.objects.count()) == (3, 3, 2)


def test_empty_columns_are_filled_and_others_stay(desk):
    desk.bring(csv_file("Code,Model,Price,Serial\nC-101,Harbour Claw,1,\nC-102,Harbour Claw,1,HC-8\n"))
    desk.bring(csv_file("Code,Serial\nC-101,HC-7\nC-102,HC-9\n"))

    assert list(Machine.objects.values_list("code", "serial")) == [("C-101", "HC-7"), ("C-102", "HC-8")]
    assert [one["text"] for one in desk.result["remarks"]] == [
        "The serial of C-102 stays “HC-8”; the sheet says “HC-9”."
    ]


def test_kept_models_are_found_again(desk):
    desk.bring(csv_file(CABINETS))
    desk.bring(csv_file("Code,Model\nC-104,harbour claw\n"))

    assert CabinetModel.objects.count() == 2
    assert Machine.objects.get(code="C-104").price_cents == 100
