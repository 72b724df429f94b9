"""A settlement as a paper to send: what the host gets, line by line, what was paid, and what is still owed."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Spacer, Table

from routeapp.kit.money import currency

PLAIN, BOLD = "Vera", "VeraBd"  # they have the euro sign, which a PDF's own fonts lack
WIDE, NARROW = 132 * mm, 42 * mm


@dataclass(frozen=True)
class Row:
    """One line: what it is, how it was worked out, and the amount in words."""

    what: str
    how: str
    amount: str


@dataclass(frozen=True)
class SettlementPaper:
    sender: str
    contact: str
    to: str
    title: str
    stamp: str  # "Void" with why, where it is
    facts: Sequence[tuple[str, str]]
    rows: Sequence[Row]
    total: Row
    balance: Sequence[Row]
    closing: Row
    remarks: Sequence[str]
    code: str  # of the currency


def pdf(paper: SettlementPaper, *, us_letter: bool) -> bytes:
    """The paper as PDF. The same paper gives the same bytes."""
    for name in (PLAIN, BOLD):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    out = io.BytesIO()
    margins = {f"{side}Margin": 18 * mm for side in ("left", "right", "top", "bottom")}
    size = letter if us_letter else A4
    SimpleDocTemplate(out, pagesize=size, title=paper.title, author=paper.sender, invariant=1, **margins).build(
        _story(paper)
    )
    return out.getvalue()


def _story(paper: SettlementPaper) -> list[Flowable]:
    text = ParagraphStyle("text", fontName=PLAIN, fontSize=9.5, leading=13, splitLongWords=1)
    strong = ParagraphStyle("strong", text, fontName=BOLD)
    title = ParagraphStyle("title", strong, fontSize=15, leading=20)
    small = ParagraphStyle("small", text, fontSize=8, leading=11, textColor="#555555")
    right, strong_right = (ParagraphStyle(f"right {one.name}", one, alignment=TA_RIGHT) for one in (text, strong))

    def say(words: str, style: ParagraphStyle = text) -> Paragraph:
        return Paragraph(escape(printable(words, paper.code)).replace("\n", "<br/>"), style)

    def line(row: Row, style: ParagraphStyle = text, amount: ParagraphStyle = right) -> list:
        return [[say(row.what, style), *([say(row.how, small)] if row.how else [])], say(row.amount, amount)]

    def table(rows: Sequence[Row], last: Row) -> Table:
        cells = [line(one) for one in rows] + [line(last, strong, strong_right)]
        style = [("LINEBELOW", (0, 0), (-1, -2), 0.4, "#888888"), ("VALIGN", (0, 0), (-1, -1), "TOP")]
        return Table(cells, [WIDE, NARROW], style=[*style, ("LINEABOVE", (0, -1), (-1, -1), 1, "#000000")])

    facts = [[say(name, small), say(value)] for name, value in paper.facts]
    gap = Spacer(0, 5 * mm)
    story: list[Flowable] = [say(paper.sender, strong), *([say(paper.contact, small)] if paper.contact else [])]
    story += [gap, say(paper.to), gap]
    story += [say(paper.title, title), *([say(paper.stamp, strong)] if paper.stamp else []), Spacer(0, 2 * mm)]
    story += [Table(facts, [38 * mm, 136 * mm], style=[("VALIGN", (0, 0), (-1, -1), "TOP")]), gap]
    story += [table(paper.rows, paper.total), gap, table(paper.balance, paper.closing), gap]
    return story + [say(remark, small) for remark in paper.remarks]


def printable(words: str, code: str) -> str:
    """A sign of a currency that the font lacks is written as the currency's three letters."""
    symbol = currency(code).symbol
    known = pdfmetrics.getFont(PLAIN).face.charToGlyph
    return words if all(ord(sign) in known for sign in symbol) else words.replace(symbol, f"{code} ")
