"""A sheet of labels: geometry on paper, and symbols decoded from the PDF itself."""

import base64
import re
import zlib

import pytest
import zxingcpp
from django.urls import reverse
from PIL import Image, ImageDraw

from machines.labels import rules_pdf, rules_sheet, rules_symbol
from machines.labels.actions import label_for
from machines.labels.rules_sheet import Sheet
from machines.models import Label
from tests.factories import MachineFactory
from tests.machines.counting import queries_of

THREE_BY_EIGHT = Sheet("a4", rows=8, columns=3, top=12.9, bottom=12.9, left=7.2, right=7.2, gap_across=2.5)
URL = "https://cabinets.lanternfish.example"
DPI = 300


def words(count):
    return [
        rules_pdf.LabelWords(f"C-{number:03}", f"{number:016}", "Lanternfish", "555 0142") for number in range(count)
    ]


def contents(pdf):
    """The drawing instructions of each page."""
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        try:
            text = zlib.decompress(base64.a85decode(stream.strip().removesuffix(b"~>"))).decode("latin-1")
        except (ValueError, zlib.error):
            continue
        if " re" in text:
            yield text


def boxes(content):
    """Left, top, right and bottom of each dark module in dots of a 300 dpi printer, from the page's lower left."""
    number = r"(-?[\d.]+)"
    for found in re.findall(rf"{number} {number} {number} {number} re", content):
        left, bottom, width, height = (float(text) * DPI / 72 for text in found)
        yield left, bottom, left + width, bottom + height


def pages(pdf):
    """Each page as a 300 dpi printer would set its dots."""
    width, height = (float(text) for text in re.search(rb"MediaBox \[ 0 0 ([\d.]+) ([\d.]+)", pdf).groups())
    size = round(width * DPI / 72), round(height * DPI / 72)
    for content in contents(pdf):
        picture = Image.new("L", size, "white")
        for left, bottom, right, top in boxes(content):
            above = height * DPI / 72
            box = round(left), round(above - top), round(right) - 1, round(above - bottom) - 1
            ImageDraw.Draw(picture).rectangle(box, fill="black")
        yield picture


def label_on(picture, sheet, place):
    dots = DPI / 25.4
    left, top = sheet.corner(place)
    right, bottom = left + sheet.label_width, top + sheet.label_height
    return picture.crop(tuple(round(edge * dots) for edge in (left, top, right, bottom)))


def read(picture):
    return [found.text for found in zxingcpp.read_barcodes(picture)]


def test_labels_fill_the_page_between_its_margins():
    last = THREE_BY_EIGHT.corner(23)
    assert (round(THREE_BY_EIGHT.label_width, 3), round(THREE_BY_EIGHT.label_height, 3)) == (63.533, 33.9)
    assert THREE_BY_EIGHT.corner(0) == (7.2, 12.9)
    assert round(last[0] + THREE_BY_EIGHT.label_width + 7.2, 6) == 210
    assert round(last[1] + THREE_BY_EIGHT.label_height + 12.9, 6) == 297


def test_start_position_uses_up_a_begun_sheet():
    sheet = Sheet("a4", rows=2, columns=2)
    assert rules_sheet.places(4, sheet, start=3) == [(0, 2), (0, 3), (1, 0), (1, 1)]


@pytest.mark.parametrize(("page", "size"), [("a4", (210, 297)), ("letter", (215.9, 279.4))])  # ISO 216; 8.5 × 11 inches
def test_page_has_its_size_in_the_file(page, size):
    pdf = rules_pdf.pdf(words(1), Sheet(page, rows=4, columns=2), 1, URL)
    points = re.search(rb"MediaBox \[ 0 0 ([\d.]+) ([\d.]+)", pdf).groups()
    assert tuple(round(float(text) / 72 * 25.4, 1) for text in points) == size


@pytest.mark.parametrize("sheet", [THREE_BY_EIGHT, Sheet("letter", rows=6, columns=5), Sheet("a4", rows=2, columns=1)])
def test_each_symbol_of_the_sheet_is_read_from_its_own_label(sheet):
    labels = words(min(6, sheet.rows * sheet.columns))
    (picture,) = pages(rules_pdf.pdf(labels, sheet, 1, URL))
    found = [read(label_on(picture, sheet, place)) for place in range(len(labels))]
    assert found == [[f"{URL.upper()}/M/{label.code}"] for label in labels]


def test_labels_begin_at_the_start_position_and_go_on_over_pages():
    first, second = pages(rules_pdf.pdf(words(3), THREE_BY_EIGHT, 23, URL))
    used = [bool(read(label_on(first, THREE_BY_EIGHT, place))) for place in range(24)]
    assert used == [False] * 22 + [True] * 2
    assert read(second) == [f"{URL.upper()}/M/{2:016}"]


def test_module_is_whole_dots_and_at_least_half_a_millimetre():
    pdf = rules_pdf.pdf(words(5), Sheet("a4", rows=8, columns=5), 1, URL)
    edges = [edge for content in contents(pdf) for box in boxes(content) for edge in box]
    sides = {round(right - left, 3) for content in contents(pdf) for left, _, right, _ in boxes(content)}
    assert max(abs(edge - round(edge)) for edge in edges) < 0.01
    assert sides == {6.0}
    assert 6 / DPI * 25.4 >= 0.5


def test_words_keep_out_of_the_quiet_zone():
    for sheet in (THREE_BY_EIGHT, Sheet("a4", rows=6, columns=5)):
        where = rules_sheet.layout(sheet, modules=29)
        side = rules_symbol.with_quiet(29) * rules_symbol.module_mm(where.dots)
        assert where.words_x >= where.symbol_x + side or where.words_y >= where.symbol_y + side
        assert where.symbol_x >= rules_sheet.PADDING
        assert where.symbol_y + side <= sheet.label_height - rules_sheet.PADDING + 1e-9


def test_pdf_carries_what_a_person_types():
    (content,) = contents(rules_pdf.pdf(words(1), THREE_BY_EIGHT, 1, URL))
    assert "(0000-0000-0000-0000) Tj" in content


@pytest.mark.parametrize("contact", ["", "x" * 200, "Žluťoučký kůň 💡 €", "a/b@c.d " * 25])
def test_any_contact_can_be_printed(contact):
    label = rules_pdf.LabelWords("C" * 16, "0" * 16, "B" * 120, contact)
    (picture,) = pages(rules_pdf.pdf([label], THREE_BY_EIGHT, 1, URL))
    assert len(read(picture)) == 1


@pytest.mark.parametrize("sheet", [Sheet("a4", rows=20, columns=10), Sheet("a4", 1, 1, left=150, right=150)])
def test_labels_too_small_for_a_phone_are_refused(sheet):
    with pytest.raises(rules_sheet.TooSmall, match=r"So that any phone can read the symbol, it needs 49 × 22 mm or"):
        rules_sheet.layout(sheet, modules=29)


def filled_in(**changed):
    lengths = dict.fromkeys(["top", "bottom", "left", "right", "gap_across", "gap_down"], "0")
    return {"page": "a4", "rows": "8", "columns": "3", "start": "1", **lengths, **changed}


def test_sheet_is_made_of_the_chosen_cabinets(owner_client):
    chosen, _ = MachineFactory(code="C-001"), MachineFactory(code="C-002")
    response = owner_client.post(reverse("labels-sheet"), filled_in(cabinets=[chosen.pk]))
    assert response["Content-Type"] == "application/pdf"
    (picture,) = pages(response.content)
    label = Label.objects.get()
    assert label.machine == chosen
    assert read(picture) == [f"HTTP://LOCALHOST:8000/M/{label.code}"]


def test_sheet_of_all_leaves_out_what_was_sold(owner_client):
    MachineFactory(code="C-001")
    MachineFactory(code="C-002", status="sold")
    owner_client.post(reverse("labels-sheet"), filled_in(everything="on"))
    assert [label.machine.code for label in Label.objects.all()] == ["C-001"]


def test_sheet_is_remembered_for_the_next_time(owner_client):
    owner_client.post(reverse("labels-sheet"), filled_in(cabinets=[MachineFactory().pk], columns="2", left="7.25"))
    form = owner_client.get(reverse("labels")).context["form"]
    assert (form["columns"].value(), form["left"].value(), form["page"].value()) == ("2", "7.25", "a4")


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"cabinets": []}, "cabinets"),
        ({"cabinets": ["999"]}, "cabinets"),
        ({"cabinets": ["x", "\x00"]}, "cabinets"),
        ({"page": "a5"}, "page"),
        ({"rows": "0"}, "rows"),
        ({"columns": "9" * 30}, "columns"),
        ({"start": "25"}, "start"),
        ({"start": "-1"}, "start"),
        ({"left": "NaN"}, "left"),
        ({"gap_down": "-3"}, "gap_down"),
        ({"top": ""}, "top"),
        ({"rows": "20"}, "__all__"),
        ({"left": "150", "right": "150"}, "__all__"),
    ],
)
def test_sheet_that_makes_no_sense_is_refused(owner_client, changed, field):
    sent = filled_in(cabinets=[MachineFactory().pk]) | changed
    response = owner_client.post(reverse("labels-sheet"), sent)
    assert response.status_code == 422
    assert list(response.context["form"].errors) == [field]
    assert Label.objects.count() == 0


def test_labels_in_use_are_listed_and_found_by_their_cabinet(owner_client, owner, noon):
    label_for(machine=MachineFactory(code="C-001"), by=owner, at=noon)
    label_for(machine=MachineFactory(code="C-002"), by=owner, at=noon)
    label_for(machine=MachineFactory(code="C-003", status="sold"), by=owner, at=noon)
    tables = [owner_client.get(reverse("labels"), {"q": asked}).context["table"] for asked in ("", "c-002")]
    assert [[one.machine.code for one in table.rows] for table in tables] == [["C-001", "C-002"], ["C-002"]]


def test_sheet_asks_the_database_no_more_for_3_than_for_1(owner_client):
    MachineFactory()
    one = queries_of(owner_client, reverse("labels"))
    MachineFactory()
    MachineFactory()
    assert queries_of(owner_client, reverse("labels")) == one


def test_page_ticks_the_cabinet_it_was_opened_for(owner_client):
    MachineFactory(code="C-001")
    wanted = MachineFactory(code="C-002")
    ticked = owner_client.get(reverse("labels"), {"cabinet": "C-002"}).context["form"]["cabinets"].value()
    assert ticked == [wanted.pk]


@pytest.mark.parametrize(
    ("address", "warned"),
    [("http://localhost:8000", True), ("http://127.0.0.1", True), ("https://route.example", False)],
)
def test_labels_that_no_phone_can_open_are_warned_about(owner_client, settings, address, warned):
    settings.PUBLIC_URL = address
    machine = MachineFactory()
    for page in (reverse("labels"), reverse("label", args=[machine.code])):
        assert ("lead to this computer only" in owner_client.get(page).content.decode()) == warned


def test_cabinet_number_no_database_can_hold_is_passed_over(owner_client):
    assert owner_client.post("/labels/sheet/", {"cabinets": "9" * 40}).status_code == 422
