"""An agreement in plain words."""

from collections.abc import Callable, Mapping


def share_in_words(rate_bp: int) -> str:
    """A share of the take; `rate_bp` is in hundredths of a percent."""
    return f"{rate_bp / 100:g} % of the take" if rate_bp else "no share of the take"


LINES: dict[str, Callable[[int], str]] = {"share": share_in_words}  # each kind of term says itself


def in_words(terms: Mapping[str, int], settled: str, paid: str) -> str:
    """What was agreed as one sentence: `terms` are rates by kind, `settled` and `paid` are phrases.

    For example "40 % of the take, settled every month, paid in cash at the visit".
    """
    lines = [words(terms[kind]) for kind, words in LINES.items() if kind in terms]
    return ", ".join([" and ".join(lines) or "nothing agreed", f"settled {settled}", f"paid {paid}"])
