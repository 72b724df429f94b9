"""The claim as a paper to send: what was found, what is asked, by when they were to be told, and the photos."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Image, Paragraph, SimpleDocTemplate, Spacer, Table

PLAIN, BOLD = "Vera", "VeraBd"
WIDEST, TALLEST = 80 * mm, 75 * mm


@dataclass(frozen=True)
class Row:
    """One thing claimed: where, what is wrong with it, what is asked, how much."""

    what: str
    wrong: str
    asked: str
    amount: str


@dataclass(frozen=True)
class ClaimPaper:
    sender: str
    to: str
    title: str
    facts: Sequence[tuple[str, str]]
    rows: Sequence[Row]
    total: str
    words: str
    photos: Sequence[tuple[str, bytes]]  # what is to be seen, JPEG


def pdf(paper: ClaimPaper, *, us_letter: bool) -> bytes:
    """The paper as PDF."""
    for name in (PLAIN, BOLD):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    text = ParagraphStyle("text", fontName=PLAIN, fontSize=9.5, leading=13, splitLongWords=1)
    strong, title = (
        ParagraphStyle("strong", text, fontName=BOLD),
        ParagraphStyle("t", text, fontName=BOLD, fontSize=15, leading=20),
    )

    def say(words: str, style: ParagraphStyle = text) -> Paragraph:
        return Paragraph(escape(words).replace("\n", "<br/>"), style)

    story: list = [say(paper.sender, strong), say(f"To {paper.to}"), Spacer(0, 6 * mm), say(paper.title, title)]
    story += [Spacer(0, 3 * mm), Table([[say(name), say(value)] for name, value in paper.facts], [45 * mm, 125 * mm])]
    lines = [[say(one.what), say(one.wrong), say(one.asked), say(one.amount)] for one in paper.rows]
    head = [say(name, strong) for name in ("What", "Found", "Asked for", "Amount")]
    last = [say("", text), say("", text), say("In all", strong), say(paper.total, strong)]
    style = [("LINEBELOW", (0, 0), (-1, -2), 0.4, "#888888"), ("VALIGN", (0, 0), (-1, -1), "TOP")]
    story += [
        Spacer(0, 4 * mm),
        Table([head, *lines, last], [45 * mm, 65 * mm, 32 * mm, 28 * mm], style=style, repeatRows=1),
    ]
    story += [Spacer(0, 4 * mm), say(paper.words)] if paper.words else []
    for name, content in paper.photos:
        story += [Spacer(0, 5 * mm), _picture(content), say(name)]
    out = io.BytesIO()
    margins = {f"{side}Margin": 18 * mm for side in ("left", "right", "top", "bottom")}
    SimpleDocTemplate(out, pagesize=letter if us_letter else A4, title=paper.title, invariant=1, **margins).build(story)
    return out.getvalue()


def _picture(content: bytes) -> Image:
    width, height = ImageReader(io.BytesIO(content)).getSize()
    scale = min(WIDEST / width, TALLEST / height)
    return Image(io.BytesIO(content), width * scale, height * scale, hAlign="LEFT")
