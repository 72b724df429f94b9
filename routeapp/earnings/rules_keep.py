"""Which cabinets earn their keep, and what may be worth a try with those that do not.

The limits are common practice, no source. What is said is where the money goes, not what must be done.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from routeapp.earnings.rules_profit import Part, Statement
from routeapp.kit.money import as_text

MUCH = 2  # times what all cabinets together spend on the same line
LARGE = 0.25  # of the take: less is not what makes a loss
MOST_ADVICE = 8


class Lack(Enum):
    """What nobody wrote down of a cabinet, without which its own cost is not in its statement."""

    COST = "cost"
    YEARS = "years"  # over which the cost counts


@dataclass(frozen=True)
class Kept:
    """A cabinet on paper: where it earned last, and its statement."""

    key: int
    code: str
    location: int | None
    place: str
    statement: Statement
    lacks: Lack | None = None

    @property
    def leaves_something(self) -> bool:
        return self.statement.profit > 0

    @property
    def earns_its_keep(self) -> bool:
        """It leaves something after all it costs, what was paid for it included."""
        return self.leaves_something and self.lacks is None

    @property
    def is_open(self) -> bool:
        """It leaves something before what was paid for it, which is not known."""
        return self.leaves_something and self.lacks is not None


@dataclass(frozen=True)
class Advice:
    kept: Kept
    word: str
    text: str


def advice(every: Sequence[Kept]) -> list[Advice]:
    """One remark for each cabinet that leaves nothing, the dearest first."""
    losing = sorted((one for one in every if not one.leaves_something), key=lambda one: one.statement.profit)
    return [_about(one, every) for one in losing[:MOST_ADVICE]]


WORDS = {
    Part.PRIZES: ("Re-set", "on prizes"),
    Part.SHARE: ("Talk about the terms", "on the host's share"),
    Part.TRIPS: ("Visit less often", "on trips"),
    Part.PARTS: ("Repair or replace", "on parts"),
    Part.REFUNDS: ("Repair", "on refunds"),
    Part.EXPENSES: ("Look at what it costs", "on goods and services"),
}


def _about(one: Kept, every: Sequence[Kept]) -> Advice:
    statement = one.statement
    if statement.take <= 0:
        return Advice(one, "Pull or repair", f"took nothing{_at(one)} and cost {as_text(-statement.profit)}.")
    if heavy := _heaviest(one, every):
        part, share, usual = heavy
        word, what = WORDS[part]
        return Advice(
            one, word, f"spends {_percent(share)} of its take {what}; all cabinets together {_percent(usual)}."
        )
    beside = [other for other in every if other.location == one.location and other.key != one.key]
    lost = f"took {as_text(statement.take)}{_at(one)}, {as_text(-statement.profit)} less than all it costs"
    if beside and all(other.leaves_something for other in beside):
        return Advice(one, "Re-price or change its prizes", f"{lost}; what stands beside it leaves something.")
    if beside and not any(other.leaves_something for other in beside):
        return Advice(one, "Move", f"{lost}; nothing there leaves anything.")
    return Advice(one, "Move", f"{lost}.")


def _heaviest(one: Kept, every: Sequence[Kept]) -> tuple[Part, float, float] | None:
    """The line it spends far more of its take on than all cabinets together do, if there is one."""
    take = max(1, sum(other.statement.take for other in every))
    found = []
    for part in WORDS:
        share = -one.statement.of(part) / one.statement.take
        usual = -sum(other.statement.of(part) for other in every) / take
        if share >= LARGE and share >= MUCH * usual:
            found.append((share, part, usual))
    share, part, usual = max(found, default=(0.0, Part.PRIZES, 0.0))
    return (part, share, usual) if share else None


def _at(one: Kept) -> str:
    return f" at {one.place}" if one.place else ""


def _percent(share: float) -> str:
    return f"{share * 100:,.0f} %"
