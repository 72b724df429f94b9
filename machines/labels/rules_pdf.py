"""Draws a sheet of labels as PDF: vector modules in the printer's own dots, and words that fit."""

import io
from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from machines.labels import rules, rules_sheet, rules_symbol
from machines.labels.rules_sheet import Layout, Sheet
from machines.labels.rules_symbol import DPI, QUIET

PLAIN, BOLD, TYPED = "Vera", "VeraBd", "Courier-Bold"
DOT = 72 / DPI  # in PDF points
LEADING = 1.2
CHARACTERS_TO_TYPE = 19  # a code in groups of four
MOST_LINES = 3
SHRINK = 0.75  # rather a little smaller than on one more line


@dataclass(frozen=True)
class LabelWords:
    """What is printed on one label."""

    cabinet: str
    code: str
    business: str
    contact: str


@dataclass(frozen=True)
class Line:
    text: str
    font: str
    size: float


def pdf(labels: Sequence[LabelWords], sheet: Sheet, start: int, public_url: str) -> bytes:
    """The sheet as PDF, the first label at position `start` (from 1). Raises TooSmall."""
    for name in (PLAIN, BOLD):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    out = io.BytesIO()
    width, height = sheet.size
    canvas = Canvas(out, pagesize=(width * mm, height * mm), invariant=1)
    canvas.setTitle("Labels")
    page = 0
    for label, (on_page, place) in zip(labels, rules_sheet.places(len(labels), sheet, start), strict=True):
        if on_page > page:
            canvas.showPage()
            page = on_page
        _draw(canvas, label, sheet, place, public_url)
    canvas.save()
    return out.getvalue()


def _draw(canvas: Canvas, label: LabelWords, sheet: Sheet, place: int, public_url: str) -> None:
    modules = rules_symbol.matrix(rules.scanned_address(public_url, label.code))
    where = rules_sheet.layout(sheet, len(modules))
    left, top = sheet.corner(place)
    above = sheet.size[1] - top  # a PDF counts from the bottom of the page
    _draw_symbol(canvas, modules, where.dots, (left + where.symbol_x) * mm, (above - where.symbol_y) * mm)
    x, y = (left + where.words_x) * mm, (above - where.words_y) * mm
    _draw_words(canvas, _lines(label, where, public_url), where, x, y)


def _draw_symbol(canvas: Canvas, modules: rules_symbol.Matrix, dots: int, left: float, top: float) -> None:
    """Every edge falls on a dot of a 300 dpi printer, so that no module comes out wider than another."""
    side = dots * DOT
    left, top = round(left / DOT) * DOT + QUIET * side, round(top / DOT) * DOT - QUIET * side
    path = canvas.beginPath()
    for row, line in enumerate(modules):
        for column, dark in enumerate(line):
            if dark:
                path.rect(left + column * side, top - (row + 1) * side, side, side)
    canvas.drawPath(path, stroke=0, fill=1)


def _lines(label: LabelWords, where: Layout, public_url: str) -> list[Line]:
    """The words from top to bottom, as large as the room allows."""
    width, height = where.words_width * mm, where.words_height * mm
    small = min(10, width / pdfmetrics.stringWidth("0" * CHARACTERS_TO_TYPE, TYPED, 1))
    wide = width / pdfmetrics.stringWidth(label.cabinet, BOLD, 1)
    lines = [
        Line(label.cabinet, BOLD, min(4 * small, wide)),
        *_wrapped(label.business, small, width),
        *_wrapped(label.contact, small, width),
        *_wrapped(rules.typed_address(public_url), small, width),
        Line(rules.grouped(label.code), TYPED, small),
    ]
    fit = min(1, height / sum(line.size * LEADING for line in lines))
    return [Line(line.text, line.font, line.size * fit) for line in lines]


def _wrapped(text: str, size: float, width: float) -> list[Line]:
    """`text` in a few lines, broken after a space, dot or slash where there is one."""
    lines: list[Line] = []
    rest = " ".join(text.split())
    size = max(SHRINK * size, min(size, width / max(1, pdfmetrics.stringWidth(rest, PLAIN, 1))))
    while rest and len(lines) < MOST_LINES:
        fits = len(rest)
        while fits > 1 and pdfmetrics.stringWidth(rest[:fits], PLAIN, size) > width + DOT:
            fits -= 1
        if fits < len(rest):
            fits = max((rest.rfind(mark, 0, fits) + 1 for mark in " ./@"), default=0) or fits
        lines.append(Line(rest[:fits].strip(), PLAIN, size))
        rest = rest[fits:]
    return lines


def _draw_words(canvas: Canvas, lines: list[Line], where: Layout, left: float, top: float) -> None:
    width, height = where.words_width * mm, where.words_height * mm
    y = top - (height - sum(line.size * LEADING for line in lines)) / 2
    for line in lines:
        y -= line.size * LEADING
        canvas.setFont(line.font, line.size)
        if where.beside:
            canvas.drawString(left, y + line.size * (LEADING - 1), line.text)
        else:
            canvas.drawCentredString(left + width / 2, y + line.size * (LEADING - 1), line.text)
