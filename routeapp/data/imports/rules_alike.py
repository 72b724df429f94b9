"""Names that probably mean the same, spelt in different ways."""

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable
from difflib import SequenceMatcher

CLOSE = 0.88  # found by trying: “Harbour Diner” and “Harbor Diner” are, “Pier 1” and “Pier 2” are not
MOST_COMPARED = 2000


def bare(name: str) -> str:
    """A name without case, accents, signs and spaces, and “and” written one way."""
    plain = unicodedata.normalize("NFKD", name.casefold().replace("&", " and "))
    return re.sub(r"[^a-z0-9]+", "", re.sub(r"\b(the|and)\b", " ", re.sub(r"[\u0300-\u036f]", "", plain)))


def alike(one: str, other: str) -> bool:
    """Whether two bare names are probably the same. Different numbers never are."""
    if one == other:
        return True
    if re.findall(r"\d+", one) != re.findall(r"\d+", other) or min(len(one), len(other)) < 5:
        return False
    return SequenceMatcher(None, one, other, autojunk=False).ratio() >= CLOSE


def groups(names: Iterable[str], known: Iterable[str] = ()) -> list[list[str]]:
    """Spellings that are alike, the best one first: one `known` here already, else the one that stands most often."""
    often, here = Counter(names), set(known)
    spellings = sorted({*often, *here}, key=lambda name: (name not in here, -often[name], name))
    found: list[tuple[str, list[str]]] = []
    for name in spellings[:MOST_COMPARED]:
        mine = bare(name)
        group = next((members for first, members in found if alike(first, mine)), None)
        if group is None or (name in here and group[0] in here):  # two places known here are two places
            found.append((mine, [name]))
        else:
            group.append(name)
    return [members for _, members in found if len(members) > 1 and set(members) & set(often)]
