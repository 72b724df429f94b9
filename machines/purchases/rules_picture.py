"""The picture of a comparison: the worth of each choice as the weekly take rises, a straight line each."""

from collections.abc import Sequence
from dataclasses import dataclass

from machines.purchases.rules_compare import Worth
from routeapp.kit.charts import BOTTOM, TOP, Line, Word

HEIGHT, RIGHT = 260, 93.0  # pixels down; percent across that the lines take, the rest is for their numbers
APART = 18.0  # pixels between two numbers at the right


@dataclass(frozen=True)
class Drawn:
    line: Line
    word: Word
    dash: int  # which of the patterns in the style sheet


@dataclass(frozen=True)
class Crossing:
    """`zero` is where nothing is won or lost; `now` the take that is reckoned with; `turns` where the best changes."""

    height: int
    right: float
    floor: int
    zero: float
    now: float
    lines: list[Drawn]
    turns: list[float]
    most: int  # the weekly take at the right edge, in minor units


def crossing(worths: Sequence[Worth], weekly_cents: int, turns: Sequence[int]) -> Crossing:
    """Place a line for each choice, numbered from 1 at its right end, between no take and twice the one expected."""
    most = max(2 * weekly_cents, *[round(1.25 * take) for take in turns if take < 6 * weekly_cents], 100)
    ends = [(worth.value(0), worth.value(most)) for worth in worths]
    least, top = min(0.0, *[one for end in ends for one in end]), max(1.0, *[one for end in ends for one in end])
    floor = HEIGHT - BOTTOM

    def down(value: float) -> float:
        return round(floor - (value - least) / (top - least) * (floor - TOP), 1)

    def across(take: float) -> float:
        return round(take / most * RIGHT, 2)

    heights = _apart([down(end) for _, end in ends])
    lines = [
        Drawn(
            Line(0, down(first), RIGHT, down(last)),
            Word(100, round(height + 5, 1), str(number + 1), "end"),
            number % 3,
        )
        for number, ((first, last), height) in enumerate(zip(ends, heights, strict=True))
    ]
    shown = [across(take) for take in turns if 0 < take < most]
    return Crossing(HEIGHT, RIGHT, floor, down(0), across(weekly_cents), lines, shown, most)


def _apart(heights: Sequence[float]) -> list[float]:
    """Heights pushed down until no two numbers touch, in the same order as they came."""
    placed, last = dict[int, float](), float("-inf")
    for number in sorted(range(len(heights)), key=lambda number: heights[number]):
        last = max(heights[number], last + APART)
        placed[number] = last
    return [placed[number] for number in range(len(heights))]
