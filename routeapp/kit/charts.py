"""Pictures on paper: figures in, places on the sheet out. Templates draw them as inline SVG with classes only.

Across, places are percentages of the width, so a picture fits any screen without shrinking its words; down, they
are pixels.
"""

from collections.abc import Sequence
from dataclasses import dataclass

TOP = 26  # room for the figure on the uppermost line
BOTTOM = 30  # room for the words below
SLOT_FILLED = 0.72  # the rest is air between two bars


@dataclass(frozen=True)
class Value:
    """One figure to draw: what it is called, the figure in words, and whether it is one of those spoken of."""

    amount: float
    words: str
    label: str = ""
    marked: bool = False


@dataclass(frozen=True)
class Bar:
    x: float
    y: float
    width: float
    height: float
    words: str
    marked: bool


@dataclass(frozen=True)
class Word:
    x: float
    y: float
    text: str
    anchor: str = "middle"


@dataclass(frozen=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True)
class Bars:
    """Upright bars on a floor, with a line at a round figure above them; `mark` runs below the marked ones."""

    height: int
    floor: int
    bars: list[Bar]
    words: list[Word]
    ceiling: int
    mark: Line | None


def ceiling(largest: float) -> int:
    """The next of 1, 2, 5, 10, 20, 50 … that is not below `largest`; 1 when there is nothing to show."""
    step = 1
    while largest > step * 10:
        step *= 10
    return next(step * round_one for round_one in (1, 2, 5, 10) if largest <= step * round_one)


def bars(values: Sequence[Value], height: int = 180) -> Bars:
    """Place one bar for each value. Amounts below zero stand on the floor with no height."""
    top, floor = ceiling(max((value.amount for value in values), default=0)), height - BOTTOM
    slot = 100 / max(1, len(values))
    drawn = [_bar(value, number * slot, slot, floor, top) for number, value in enumerate(values)]
    words = [_below(value.label, number * slot, slot, height - 8) for number, value in enumerate(values) if value.label]
    marked = [bar for bar in drawn if bar.marked]
    mark = Line(marked[0].x, floor + 4, round(marked[-1].x + marked[-1].width, 2), floor + 4) if marked else None
    return Bars(height, floor, drawn, words, top, mark)


def _bar(value: Value, left: float, slot: float, floor: int, top: float) -> Bar:
    tall = round(max(0.0, value.amount) / top * (floor - TOP), 1)
    x, width = round(left + slot * (1 - SLOT_FILLED) / 2, 2), round(slot * SLOT_FILLED, 2)
    return Bar(x, round(floor - tall, 1), width, tall, value.words, value.marked)


def _below(text: str, left: float, slot: float, y: int) -> Word:
    """A word under a bar; near an edge it is pushed inwards so that nothing is cut off."""
    middle = left + slot / 2
    if middle < 12:
        return Word(round(left, 2), y, text, "start")
    if middle > 88:
        return Word(round(left + slot, 2), y, text, "end")
    return Word(round(middle, 2), y, text)


@dataclass(frozen=True)
class Aim:
    """A figure beside the one it aims at."""

    label: str
    words: str
    amount: float
    target: float | None


@dataclass(frozen=True)
class Level:
    """One lying bar under its words, and the upright stroke that it aims at (None without one)."""

    label: str
    words: str
    text_y: int
    y: int
    width: float
    target: float | None


@dataclass(frozen=True)
class Levels:
    height: int
    thickness: int
    rows: list[Level]


ROW = 52  # words of 16 px, a bar, and air


def levels(aims: Sequence[Aim]) -> Levels:
    """Place lying bars below one another, all on one scale from zero."""
    largest = max((max(aim.amount, aim.target or 0) for aim in aims), default=0)
    scale = 99 / largest if largest else 0  # the stroke of the largest target stays on the sheet
    rows = [
        Level(
            label=aim.label,
            words=aim.words,
            text_y=number * ROW + 18,
            y=number * ROW + 26,
            width=round(aim.amount * scale, 2),
            target=None if aim.target is None else round(aim.target * scale, 2),
        )
        for number, aim in enumerate(aims)
    ]
    return Levels(len(aims) * ROW, 12, rows)


@dataclass(frozen=True)
class Point:
    """A figure at a place along the way; `when` counts in any unit, `amount` from zero up."""

    when: float
    amount: float


@dataclass(frozen=True)
class Curve:
    """A line through what was, a dashed one through what is to be expected, and a line at the most there can be."""

    height: int
    floor: int
    seen: list[Line]
    expected: list[Line]
    now: float
    top: int  # the amount at the line `most`
    most: float
    words: list[Word]
    band: str = ""  # corners of the range around what is to be expected: per cent across, pixels down


def curve(
    seen: Sequence[Point],
    expected: Sequence[Point],
    now: float,
    most: float,
    first: str,
    last: str,
    height: int = 180,
    band: Sequence[tuple[Point, Point]] = (),
) -> Curve:
    """Place a line through `seen` and on through `expected`; `first` and `last` are written below the two ends.
    `band` is (low, high) at some moments."""
    points = [*seen, *expected, *(point for pair in band for point in pair)]
    start = min((point.when for point in points), default=now)
    span = max([now, *(point.when for point in points)]) - start or 1
    top, floor = max([most, *(point.amount for point in points)]) or 1, height - BOTTOM

    def across(when: float) -> float:
        return round((when - start) / span * 100, 2)

    def down(amount: float) -> float:
        return round(floor - max(0.0, amount) / top * (floor - TOP), 1)

    def through(some: Sequence[Point]) -> list[Line]:
        pairs = zip(some, some[1:], strict=False)
        return [Line(across(a.when), down(a.amount), across(b.when), down(b.amount)) for a, b in pairs]

    words = [Word(0, height - 8, first, "start"), Word(100, height - 8, last, "end")]
    around = [*(low for low, _ in band), *(high for _, high in reversed(band))]
    corners = " ".join(f"{across(point.when)},{down(point.amount)}" for point in around)
    return Curve(height, floor, through(seen), through(expected), across(now), round(most), down(most), words, corners)
