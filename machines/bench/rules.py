"""What a cabinet must show on the bench, and how much a few test plays can tell."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import comb

SURE = 0.95
PRECISION = 1e-9

_EVERY_KIND = (
    "Feet or wheels stand firm",
    "Doors close and locks turn with their keys",
    "Lights and sound work",
    "Every button and the joystick answer",
    "Meters count one for one",
)
_CLAW = ("The claw travels to all four corners", "The claw opens and closes", "A prize falls through the chute")
_BY_KIND = {"claw": _CLAW, "capsule": ("A capsule drops and the flap closes",), "pusher": ("The pusher runs freely",)}


def usual_checks(kind: str) -> list[str]:
    """What to try on the bench where the model has no list of its own; common practice, no source."""
    return [*_EVERY_KIND, *_BY_KIND.get(kind, ())]


@dataclass(frozen=True)
class Coin:
    """Known coins or notes of one worth (minor units): how often one was put in, and how often it was taken."""

    cents: int
    tried: int
    taken: int


@dataclass(frozen=True)
class Shown:
    """What one test on the bench showed. `checks` are "fine", "fails" or "none" (not on this one) by what was tried;
    an empty answer was left out."""

    starts: bool
    checks: dict[str, str]
    coins: Sequence[Coin]
    plays: int
    labelled: bool
    reader: str = ""
    pulses_sent: int = 0
    pulses_counted: int = 0


def still_wrong(shown: Shown) -> list[str]:
    """Why a cabinet has not passed, as sentences; none when it has."""
    if not shown.starts:
        return ["It does not start at another outlet either."]
    wrong = [f"Fails: {what}." for what, result in shown.checks.items() if result == "fails"]
    wrong += [f"Not tried: {what}." for what, result in shown.checks.items() if not result]
    return wrong + _wrong_with_money(shown) + _not_done(shown)


def _wrong_with_money(shown: Shown) -> list[str]:
    refused = sum(coin.tried - coin.taken for coin in shown.coins)
    wrong = [f"{refused} of the coins and notes put in came back."] if refused else []
    if shown.pulses_sent != shown.pulses_counted:
        wrong.append(f"The card reader sent {shown.pulses_sent} pulses, {shown.pulses_counted} were counted.")
    if shown.reader and not shown.pulses_sent:
        wrong.append("The card reader was not tried.")
    if not shown.pulses_sent and not any(coin.tried for coin in shown.coins):
        wrong.append("No coin, note or card was tried.")
    return wrong


def _not_done(shown: Shown) -> list[str]:
    wrong = [] if shown.plays else ["No test play was made."]
    return wrong if shown.labelled else [*wrong, "The label is not on it yet."]


def win_rate(wins: int, plays: int, sure: float = SURE) -> tuple[float, float]:
    """Between which shares of plays the true win rate lies: the exact interval of Clopper and Pearson.

    C. J. Clopper and E. S. Pearson (1934), as in the NIST/SEMATECH e-Handbook, 7.2.4.1. Raises ValueError when the
    counts do not fit together.
    """
    if not 0 <= wins <= plays or not plays:
        raise ValueError("There are as many wins as plays at most, and at least one play.")
    tail = (1 - sure) / 2
    low = 0.0 if wins == 0 else _root(lambda p: 1 - _at_most(wins - 1, plays, p) - tail)
    high = 1.0 if wins == plays else _root(lambda p: tail - _at_most(wins, plays, p))
    return low, high


def _at_most(wins: int, plays: int, p: float) -> float:
    """The chance of `wins` or fewer in `plays`."""
    return sum(comb(plays, k) * p**k * (1 - p) ** (plays - k) for k in range(wins + 1))


def _root(rising: Callable[[float], float]) -> float:
    """Where a function that rises from 0 to 1 crosses zero."""
    low, high = 0.0, 1.0
    while high - low > PRECISION:
        middle = (low + high) / 2
        low, high = (middle, high) if rising(middle) < 0 else (low, middle)
    return low


def payout_words(wins: int, plays: int, low: float, high: float, target: int | None) -> str:
    """What test plays tell about plays per prize, for shares between `low` and `high`, and about the `target`."""
    most = f"1 in {1 / low:,.0f}" if low else "none at all"
    told = f"{wins} won in {plays}: with 95 % certainty the truth is between 1 in {max(1, 1 / high):,.1f} and {most}."
    if target is None:
        return told
    if low <= 1 / target <= high:
        return f"{told} The target of 1 in {target} lies within that."
    less = "less" if 1 / target > high else "more"
    return f"{told} The target of 1 in {target} does not: it gives {less}. Set the grip and play again."
