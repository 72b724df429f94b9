"""What the columns under a heading row can mean, and which meaning each of them probably has."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from routeapp.kit.reading.cells import text
from routeapp.kit.reading.sheet import Row

TITLE_ROWS = 40  # how far down the heading may stand


@dataclass(frozen=True)
class Meaning:
    """`reads` names the function of `cells` that reads its cells; `words` are headings people write for it."""

    key: str
    label: str
    reads: str = "text"
    words: tuple[str, ...] = ()


class Vocabulary:
    """All that columns of one kind of sheet can mean, in the groups in which they are offered."""

    def __init__(self, groups: Mapping[str, Sequence[Meaning]]) -> None:
        self.groups = groups
        self.meanings = {meaning.key: meaning for group in groups.values() for meaning in group}
        self._by_words = {word: meaning.key for meaning in self.meanings.values() for word in meaning.words}

    def choices(self) -> list[tuple[str, Any]]:
        groups = [(title, [(one.key, one.label) for one in group]) for title, group in self.groups.items()]
        return [("", "Leave this column out"), *groups]

    def guess(self, headings: Sequence[Any]) -> dict[int, str]:
        """The probable meaning of each column by its heading, none of them twice."""
        found: dict[int, str] = {}
        for exact in (True, False):
            for column, heading in enumerate(headings):
                key = self._meaning(plain(heading), exact)
                if key and column not in found and key not in found.values():
                    found[column] = key
        return found

    def _meaning(self, heading: str, exact: bool) -> str:
        if exact or not heading:
            return self._by_words.get(heading, "")
        for size in range(min(3, len(heading.split())), 0, -1):  # the longest known words inside, the last ones first
            words = heading.split()
            for start in range(len(words) - size, -1, -1):
                if key := self._by_words.get(" ".join(words[start : start + size])):
                    return key
        return ""


def plain(heading: Any) -> str:
    """A heading as it is compared: small letters and digits, one space between words."""
    try:
        said = text(heading)
    except ValueError:
        return ""
    return " ".join(re.findall(r"\w+", said.casefold().replace("'s", "").replace("_", " ")))


def heading_row(rows: Sequence[Row], known_in: Callable[[list[Any]], int]) -> int:
    """The number of the row that is probably the heading: the first of those with most known words, at least two;
    else the first one with two different texts in it. 0 when there is none."""
    best, most = 0, 1
    for number, cells in rows[:TITLE_ROWS]:
        known = known_in(cells) if _texts(cells) > 1 else 0
        if known > most:
            best, most = number, known
    first = next((number for number, cells in rows[:TITLE_ROWS] if _texts(cells) > 1), rows[0][0] if rows else 0)
    return best or first


def _texts(cells: Sequence[Any]) -> int:
    return len({plain(cell) for cell in cells if isinstance(cell, str)} - {""})


def signature(headings: Sequence[Any]) -> str:
    """What a heading row is recognised by in the next file."""
    return "|".join(plain(heading) for heading in headings).strip("|")
