"""A sheet of labels in millimetres: where each label stands, and how symbol and words share it."""

from dataclasses import dataclass

from machines.labels.rules_symbol import module_mm, smallest_dots, with_quiet

PAGES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
PADDING = 1.5  # between the cut and what is printed: sheets shift a little in the printer
WORDS_BESIDE = 27.0  # least width of the words when they stand beside the symbol
WORDS_BELOW = 15.0  # least height of the words when they stand below it
MOST_DOTS = 20  # a module of 1.7 mm; a larger one only takes room from the words


class TooSmall(ValueError):
    """The labels cannot hold a symbol that phones can read; the text says so to the person."""


@dataclass(frozen=True)
class Sheet:
    """A page cut into rows and columns. Lengths in millimetres."""

    page: str
    rows: int
    columns: int
    top: float = 0
    bottom: float = 0
    left: float = 0
    right: float = 0
    gap_across: float = 0
    gap_down: float = 0

    @property
    def size(self) -> tuple[float, float]:
        return PAGES[self.page]

    @property
    def label_width(self) -> float:
        return (self.size[0] - self.left - self.right - self.gap_across * (self.columns - 1)) / self.columns

    @property
    def label_height(self) -> float:
        return (self.size[1] - self.top - self.bottom - self.gap_down * (self.rows - 1)) / self.rows

    def corner(self, place: int) -> tuple[float, float]:
        """Left and top edge of the label at `place`, counted from 0 along the rows."""
        row, column = divmod(place, self.columns)
        left = self.left + column * (self.label_width + self.gap_across)
        return left, self.top + row * (self.label_height + self.gap_down)


@dataclass(frozen=True)
class Layout:
    """Where things stand within one label, from its upper left corner, in millimetres."""

    dots: int
    symbol_x: float
    symbol_y: float
    words_x: float
    words_y: float
    words_width: float
    words_height: float

    @property
    def beside(self) -> bool:
        return self.words_x > self.symbol_x


def layout(sheet: Sheet, modules: int) -> Layout:
    """Share a label between a symbol of `modules` a side and the words, the way that makes the symbol larger.

    A module is a whole number of dots at 300 dpi, at least half a millimetre, and the quiet zone belongs to the
    symbol. Raises TooSmall.
    """
    width, height = sheet.label_width - 2 * PADDING, sheet.label_height - 2 * PADDING
    beside = _dots(min(width - WORDS_BESIDE, height), modules)
    below = _dots(min(width, height - WORDS_BELOW), modules)
    dots = min(MOST_DOTS, max(beside, below))
    if dots < smallest_dots():
        raise TooSmall(_too_small(sheet, modules))
    side = with_quiet(modules) * module_mm(dots)
    if beside >= below:
        y = PADDING + (height - side) / 2
        return Layout(dots, PADDING, y, PADDING + side, PADDING, width - side, height)
    words = min(height - side, side)
    x, y = PADDING + (width - side) / 2, PADDING + (height - side - words) / 2
    return Layout(dots, x, y, PADDING, y + side, width, words)


def _dots(side: float, modules: int) -> int:
    return int(side / with_quiet(modules) / module_mm(1) + 1e-9) if side > 0 else 0


def _too_small(sheet: Sheet, modules: int) -> str:
    least = with_quiet(modules) * module_mm(smallest_dots())
    beside = f"{least + WORDS_BESIDE + 2 * PADDING:.0f} × {least + 2 * PADDING:.0f} mm"
    below = f"{least + 2 * PADDING:.0f} × {least + WORDS_BELOW + 2 * PADDING:.0f} mm"
    size = f"{max(0, sheet.label_width):.0f} × {max(0, sheet.label_height):.0f} mm"
    return (
        f"Each label would be {size}. So that any phone can read the symbol, it needs {beside} or {below}. "
        "Choose fewer rows or columns, or smaller margins and gaps."
    )


def places(count: int, sheet: Sheet, start: int) -> list[tuple[int, int]]:
    """(page, place) of each of `count` labels when the first goes to position `start`, counted from 1."""
    return [divmod(start - 1 + number, sheet.rows * sheet.columns) for number in range(count)]
