"""The paper that goes to the bank with a deposit: pieces by coin and note, what was not sorted, and the sum."""

import io
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from reportlab.lib.pagesizes import A5
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from routeapp.cash.rules import denominations
from routeapp.kit import money

PLAIN, BOLD = "Vera", "VeraBd"
EDGE, LEADING = 15 * mm, 7 * mm
LONGEST = 48  # characters of a line of words


@dataclass(frozen=True)
class SlipLine:
    """Some pieces of one coin or note, in minor units; `worth` is one piece, `pieces` None for what was not sorted."""

    name: str
    pieces: int | None
    cents: int


@dataclass(frozen=True)
class Slip:
    """What is printed: `about` are lines of words below the title, `lines` the pieces, `cents` all of it."""

    title: str
    about: Sequence[str]
    lines: Sequence[SlipLine]
    cents: int


def together(counted: Iterable[Mapping[str, int]]) -> dict[str, int]:
    """Pieces of several counts by denomination key."""
    found: Counter[str] = Counter()
    for lines in counted:
        found.update(lines)
    return dict(+found)


def slip_lines(lines: Mapping[str, int], cents: int, currency: str) -> list[SlipLine]:
    """Notes, then coins, the dearest first; at the end what the pieces leave of `cents`."""
    known = sorted(denominations(currency), key=lambda one: (one.coin, -one.cents))
    found = [
        SlipLine(f"{money.as_text(one.cents, currency)} {'coins' if one.coin else 'notes'}", many, many * one.cents)
        for one in known
        if (many := lines.get(one.key, 0))
    ]
    rest = cents - sum(one.cents for one in found)
    return found + ([SlipLine("Not sorted by coin and note", None, rest)] if rest else [])


def pdf(slip: Slip, currency: str) -> bytes:
    """The slip on A5, more than one page if it must be."""
    for name in (PLAIN, BOLD):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=A5, invariant=1)
    canvas.setTitle(slip.title)
    paper = _Paper(canvas)
    paper.line(slip.title, font=BOLD, size=15)
    for words in slip.about:
        paper.line(words[:LONGEST])
    paper.rule()
    for one in slip.lines:
        pieces = "" if one.pieces is None else f"{one.pieces:,} ×"
        paper.line(one.name, pieces, money.as_text(one.cents, currency))
    paper.rule()
    paper.line("In all", "", money.as_text(slip.cents, currency), font=BOLD, size=12)
    paper.line("")
    paper.line("Taken by: ______________________   Bank: ______________________", size=8)
    canvas.save()
    return out.getvalue()


class _Paper:
    """Lines from the top of a sheet down, and a new sheet below the last."""

    def __init__(self, canvas: Canvas) -> None:
        self.canvas, (self.width, self.top) = canvas, A5
        self.y = self.top - EDGE

    def line(self, left: str, middle: str = "", right: str = "", font: str = PLAIN, size: float = 10) -> None:
        if self.y < EDGE:
            self.canvas.showPage()
            self.y = self.top - EDGE
        self.canvas.setFont(font, size)
        self.canvas.drawString(EDGE, self.y, left)
        self.canvas.drawRightString(self.width * 0.66, self.y, middle)
        self.canvas.drawRightString(self.width - EDGE, self.y, right)
        self.y -= LEADING

    def rule(self) -> None:
        self.canvas.line(EDGE, self.y + LEADING / 2, self.width - EDGE, self.y + LEADING / 2)
        self.y -= LEADING / 2
