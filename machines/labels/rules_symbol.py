"""The QR symbol: its modules, and pictures of them as SVG and PNG, never smaller than a phone can read."""

import io
import math

import qrcode
from qrcode.constants import ERROR_CORRECT_H, ERROR_CORRECT_M, ERROR_CORRECT_Q
from qrcode.image.svg import SvgPathFillImage

QUIET = 4  # modules of white on each side: denso-wave's and ISO/IEC 18004's margin for a QR symbol
SMALLEST_MODULE_MM = 0.5
MM_AN_INCH = 25.4
DPI = 300
PNG_DOTS = 8  # a module of 0.68 mm at 300 dpi: read from arm's length
SVG_TENTHS_OF_MM = 7

Matrix = list[list[bool]]


def smallest_dots(dpi: int = DPI) -> int:
    """The fewest whole dots of a printer that make a module of at least half a millimetre."""
    return math.ceil(SMALLEST_MODULE_MM * dpi / MM_AN_INCH)


def module_mm(dots: int, dpi: int = DPI) -> float:
    """The size of a module of `dots` printer dots."""
    return dots * MM_AN_INCH / dpi


def symbol(text: str) -> qrcode.QRCode:
    """The smallest symbol that holds `text` at error correction M, with a better correction where it fits as well."""
    versions = {level: _made(text, level) for level in (ERROR_CORRECT_H, ERROR_CORRECT_Q, ERROR_CORRECT_M)}
    smallest = versions[ERROR_CORRECT_M].version
    return next(made for made in versions.values() if made.version == smallest)


def _made(text: str, level: int) -> qrcode.QRCode:
    code = qrcode.QRCode(error_correction=level, border=QUIET)
    code.add_data(text, optimize=0)
    code.make()
    return code


def matrix(text: str) -> Matrix:
    """The modules without the quiet zone, True where dark."""
    return [[bool(module) for module in row] for row in symbol(text).modules]


def with_quiet(modules: int) -> int:
    """Modules on a side including the quiet zone."""
    return modules + 2 * QUIET


def svg(text: str) -> bytes:
    """The symbol as SVG in millimetres."""
    code = symbol(text)
    code.box_size = SVG_TENTHS_OF_MM
    return code.make_image(image_factory=SvgPathFillImage).to_string()


def png(text: str, dots: int = PNG_DOTS) -> bytes:
    """The symbol as PNG, `dots` pixels a module; the file says how large it is to be printed."""
    code = symbol(text)
    code.box_size = dots
    picture = code.make_image().get_image()
    out = io.BytesIO()
    picture.save(out, "PNG", dpi=(DPI, DPI))
    return out.getvalue()
