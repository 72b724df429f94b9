"""Files as they are: encodings, hidden sheets, formulas, macros, bombs, and what is no spreadsheet at all."""

# ruff: noqa: DTZ001 - workbooks know no time zones

import io
import zipfile
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from routeapp.models import ServiceEntry, Visit
from tests.data.imports.desk import csv_file, workbook

HEAD = ["Date", "Cabinet", "Location", "Cash", "Plays"]


def takes():
    return list(ServiceEntry.objects.order_by("at", "machine__code").values_list("at__date", "cents"))


@pytest.mark.parametrize(
    ("encoding", "note"),
    [
        ("utf-8", []),
        ("utf-8-sig", []),
        ("utf-16", ["It was read as UTF-16."]),
        ("utf-16-le", ["It was read as UTF-16."]),
        ("cp1252", ["Some of it is not UTF-8 and was read as Windows text (cp1252). Look at the accents below."]),
    ],
)
def test_encodings(desk, world, encoding, note):
    text = "Date,Cabinet,Location,Cash\n2025-03-03,C-101,Café Zürich,40\n"
    desk.bring(csv_file(text, encoding=encoding))

    assert Visit.objects.get().location.name == "Café Zürich"
    assert desk.result["notes"] == note


def test_two_encodings_in_one_file(desk, world):
    text = b"Date,Cabinet,Cash,Note\n2025-03-03,C-101,40," + "Café\n".encode("cp1252")
    desk.bring(csv_file(text + "2025-03-10,C-101,30,Zürich\n".encode()))

    assert list(ServiceEntry.objects.order_by("at").values_list("note", flat=True)) == ["Café", "Zürich"]


def test_hidden_sheets_are_named_and_left(desk, world):
    def hide(book):
        book["Old"].sheet_state = "hidden"

    sheets = [("Takes", [HEAD, ["2025-03-03", "C-101", None, 40]]), ("Old", [HEAD, ["2024-03-03", "C-101", None, 9]])]
    desk.bring(workbook(*sheets, change=hide))
    assert takes() == [(date(2025, 3, 3), 4000)]
    page = desk.client.get(desk.address("columns/")).content.decode()
    assert "This sheet is hidden in the workbook, so it is only taken if you choose it." in page

    desk.bring(workbook(*sheets, change=hide), s1_take="on")
    assert takes() == [(date(2024, 3, 3), 900), (date(2025, 3, 3), 4000)]


def with_part(file, part, change):
    """The workbook with one of its parts rewritten as bytes."""
    made = io.BytesIO()
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, change(old.read(name)) if name == part else old.read(name))
        if part not in old.namelist():
            new.writestr(part, change(b""))
    return SimpleUploadedFile(file.name, made.getvalue())


SHEET = "xl/worksheets/sheet1.xml"


def test_formulas_give_their_stored_value(desk, world):
    file = workbook(("Takes", [["Date", "Cabinet", "Cash"], ["2025-03-03", "C-101", "=20+20"]]))
    stored = with_part(file, SHEET, lambda xml: xml.replace(b"<v></v>", b"<v>40</v>").replace(b"<v />", b"<v>40</v>"))
    desk.bring(stored)

    assert takes() == [(date(2025, 3, 3), 4000)]


def test_formulas_without_a_stored_value_are_named(desk, world):
    desk.check(workbook(("Takes", [["Date", "Cabinet", "Cash"], ["2025-03-03", "C-101", "=20+20"]])))

    assert desk.result["notes"] == [
        "These cells hold formulas whose results were not saved: C2. They count as empty. "
        "Open the file in your spreadsheet program, save it and bring it again."
    ]


def test_an_error_in_a_formula_is_a_problem(desk, world):
    desk.check(csv_file("Date,Cabinet,Cash\n2025-03-03,C-101,#REF!\n"))

    assert desk.problems() == [
        (2, "C", "The formula in this cell shows an error (#REF!). Mend it, or write the value.")
    ]


def lying(file, part, size):
    """The workbook, in whose directory it says that a part unpacks to `size` bytes."""
    data = bytearray(file.read())
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as archive:
        true = archive.getinfo(part).file_size.to_bytes(4, "little")
    for at in [at for at in range(len(data) - 4) if data[at : at + 4] == true]:
        data[at : at + 4] = size.to_bytes(4, "little")
    return SimpleUploadedFile(file.name, bytes(data))


def refusal(answer):
    assert answer.status_code == 422
    return answer.context["form"].errors["file"]


def bomb(part, megabytes):
    return with_part(workbook(("Takes", [["Date", "Cabinet"]])), part, lambda xml: xml + b" " * (megabytes << 20))


def test_a_zip_bomb_is_not_opened(desk):
    assert refusal(desk.upload(bomb("xl/sharedStrings.xml", 121))) == [
        "This file unpacks to far more than a spreadsheet of this size should, so it was not opened. "
        "Save the sheet as CSV and bring that."
    ]


def test_a_zip_bomb_that_lies_about_its_size_is_damaged(desk):
    assert refusal(desk.upload(lying(bomb(SHEET, 5), SHEET, 900))) == [
        "This workbook is damaged and cannot be read (BadZipFile). Save it anew."
    ]


def test_xml_that_unfolds_without_end_is_refused(desk):
    entities = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">%s]>' % b"".join(
        b'<!ENTITY %s "%s">' % (bytes([98 + n]), b"&%s;" % bytes([97 + n]) * 10) for n in range(9)
    )
    evil = with_part(
        workbook(("Takes", [["Date", "Cabinet"]])), "xl/workbook.xml",
        lambda xml: xml.replace(b"<workbook", entities + b"<workbook", 1).replace(b'name="Takes"', b'name="&j;"'),
    )  # fmt: skip

    assert refusal(desk.upload(evil)) == ["This workbook is damaged and cannot be read (ValueError). Save it anew."]


def test_macros_are_not_run_and_named(desk, world):
    file = workbook(("Takes", [["Date", "Cabinet", "Cash"], ["2025-03-03", "C-101", 40]]), name="route.xlsm")
    desk.check(with_part(file, "xl/vbaProject.bin", lambda _: b"Sub Auto_Open()"))

    assert desk.result["notes"] == ["It carries macros. Only the values in its cells were read; nothing was run."]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "This file is empty."),
        (b"\xd0\xcf\x11\xe0 old", "This is a workbook of the old kind (.xls), or one with a password. "
         "Open it in your spreadsheet program, save it as .xlsx without a password, and bring that."),
        (b"%PDF-1.7 ...", "This is a PDF. Bring the spreadsheet that it was printed from."),
        (b"PK\x03\x04 torn", "This workbook is damaged and cannot be opened. Save it anew, or save it as CSV."),
        (b"\x00\x01\x02\x00\x05\x06" * 50,
         "This is neither a workbook (.xlsx) nor a text file (.csv). Save it as one of them."),
        (b'Date,Cabinet\n2025-03-03,"' + b"x" * 200_000,
         "Something before line 3 cannot be read: perhaps a quotation mark is never closed."),
    ],
)  # fmt: skip
def test_what_is_no_spreadsheet(desk, content, says):
    assert refusal(desk.upload(csv_file(content))) == [says]


def test_a_file_of_fifty_megabytes_is_taken_and_a_larger_one_named(desk, world):
    filler = "2025-03-03,C-101,40," + "x" * 3900 + "\n"
    line = "Date,Cabinet,Cash,Nothing\n" + filler
    size = 50 * 1024 * 1024
    assert desk.upload(csv_file(line + "," * (size - len(line)))).status_code == 302

    assert refusal(desk.upload(csv_file(b"x" * (61 * 1024 * 1024)))) == [
        "This file has 61 MB; 60 MB are taken. Nothing was kept. "
        "Leave out pictures and sheets that are not needed, or divide it."
    ]
