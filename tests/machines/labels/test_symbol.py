"""The QR symbol as people meet it: decoded by an independent reader, its quiet zone measured from pixels."""

import io
import re
from xml.etree import ElementTree

import pytest
import zxingcpp
from PIL import Image, ImageDraw
from qrcode.constants import ERROR_CORRECT_H, ERROR_CORRECT_M, ERROR_CORRECT_Q

from machines.labels import rules, rules_symbol

CODE = "0123456789ABCDEF"
ADDRESS = rules.scanned_address("https://cabinets.lanternfish.example", CODE)


def read(picture):
    return [found.text for found in zxingcpp.read_barcodes(picture)]


def drawn(svg, pixels_per_mm=10):
    """The pixels of an SVG that consists of one path of upright rectangles."""
    root = ElementTree.fromstring(svg)
    side = round(float(root.get("width").removesuffix("mm")) * pixels_per_mm)
    picture = Image.new("L", (side, side), "white")
    path = next(element.get("d") for element in root if element.tag.endswith("path"))
    for box in re.findall(r"M([\d.]+),([\d.]+)H([\d.]+)V([\d.]+)H", path):
        left, top, right, bottom = (round(float(edge) * pixels_per_mm) for edge in box)
        ImageDraw.Draw(picture).rectangle((left, top, right - 1, bottom - 1), fill="black")
    return picture


def dark_box(picture):
    """Left, top, right and bottom edge of all that is dark."""
    return picture.convert("L").point(lambda grey: 255 - grey).getbbox()


def test_codes_have_80_bits_and_no_look_alikes():
    assert len(set(rules.ALPHABET)) ** rules.LENGTH == 2**80
    assert not set("OIL") & set(rules.ALPHABET)


@pytest.mark.parametrize(
    "typed",
    [
        "01A1-56K0-ABCD-EFGH",
        "01a156k0abcdefgh",
        " 01A1 56K0 ABCD EFGH\n",
        "OlA1-56KO-ABCD-EFGH",
        "oIa1-56ko-abcd-efgh",
    ],
)
def test_code_is_read_as_people_type_it(typed):
    assert rules.clean_code(typed) == "01A156K0ABCDEFGH"


@pytest.mark.parametrize("typed", ["", "01A1", "01A1-56K0-ABCD-EFGH-0", "U" * 16, "\x00" * 16, "é" * 16, "1" * 10**6])
def test_anything_else_is_no_code(typed):
    assert rules.clean_code(typed) == ""


def test_code_stands_in_groups_of_four():
    assert rules.grouped(CODE) == "0123-4567-89AB-CDEF"


@pytest.mark.parametrize(
    ("address", "sender"),
    [
        ("192.0.2.7", "192.0.2.7"),
        (" ::ffff:192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("", "unknown"),
        ("not an address", "unknown"),
    ],
)
def test_sender_of_a_report(address, sender):
    assert rules.sender(address) == sender


# Denso Wave, "Point for determining the size of a QR Code", https://www.qrcode.com/en/howto/code.html:
# 50 alphanumeric characters at M need version 3 (29 modules, version 2 holds 38); at 400 dpi and 4 dots a
# module is 0.254 mm, the symbol 7.366 mm, and with the margin of 4 modules 9.398 mm.
def test_size_of_a_symbol_as_denso_wave_works_it_out():
    modules = len(rules_symbol.matrix("A" * 50))
    side = rules_symbol.module_mm(4, dpi=400)
    assert modules == 29
    assert round(side, 3) == 0.254
    assert round(modules * side, 3) == 7.366
    assert round(rules_symbol.with_quiet(modules) * side, 3) == 9.398


# Capacities in alphanumeric mode at M, Q and H: https://docs.real.com/access/guides/features/qr_codes/qr_codes_3.html
@pytest.mark.parametrize(
    ("characters", "version", "correction"),
    [
        (38, 2, ERROR_CORRECT_M),
        (39, 3, ERROR_CORRECT_Q),
        (35, 2, ERROR_CORRECT_M),
        (29, 2, ERROR_CORRECT_Q),
        (21, 2, ERROR_CORRECT_Q),
        (16, 1, ERROR_CORRECT_Q),
        (10, 1, ERROR_CORRECT_H),
        (47, 3, ERROR_CORRECT_Q),
        (48, 3, ERROR_CORRECT_M),
        (61, 3, ERROR_CORRECT_M),
        (62, 4, ERROR_CORRECT_Q),
    ],
)
def test_symbol_is_as_small_as_m_allows_and_corrects_what_fits(characters, version, correction):
    made = rules_symbol.symbol("A" * characters)
    assert (made.version, made.error_correction) == (version, correction)


def test_half_a_millimetre_at_300_dpi_is_6_dots():
    assert rules_symbol.smallest_dots(300) == 6
    assert rules_symbol.module_mm(6, 300) >= 0.5 > rules_symbol.module_mm(5, 300)


def test_address_is_packed_as_capitals():
    # Version 3 at M holds 61 alphanumeric characters, but only 42 bytes (352 data bits, 12 of them to say so).
    assert (len(ADDRESS), rules_symbol.symbol(ADDRESS).version) == (55, 3)


def test_png_is_read_back_and_says_how_large_it_prints():
    picture = Image.open(io.BytesIO(rules_symbol.png(ADDRESS)))
    assert read(picture) == [ADDRESS]
    assert [round(dots) for dots in picture.info["dpi"]] == [300, 300]
    assert picture.size == (rules_symbol.PNG_DOTS * (29 + 8),) * 2


@pytest.mark.parametrize("dots", [6, 8, 12])
def test_png_has_whole_pixels_a_module_and_exactly_four_modules_of_quiet(dots):
    picture = Image.open(io.BytesIO(rules_symbol.png(ADDRESS, dots)))
    side = picture.width
    assert dark_box(picture) == (4 * dots, 4 * dots, side - 4 * dots, side - 4 * dots)
    small = picture.convert("L").resize((side // dots, side // dots), Image.Resampling.BOX)
    assert set(small.get_flattened_data()) == {0, 255}  # a module cut in two would come out grey


def test_svg_is_read_back_with_exactly_four_modules_of_quiet():
    module = rules_symbol.SVG_TENTHS_OF_MM
    picture = drawn(rules_symbol.svg(ADDRESS))
    assert read(picture) == [ADDRESS]
    assert picture.width == (29 + 8) * module
    assert dark_box(picture) == (4 * module, 4 * module, picture.width - 4 * module, picture.width - 4 * module)
    assert module / 10 >= rules_symbol.SMALLEST_MODULE_MM
