"""What a person said about a file, as it is kept, and the ids that its facts get from what they say."""

from dataclasses import dataclass, field
from typing import Any
from uuid import UUID, uuid5

from routeapp.data.imports.rules_lines import SheetPlan

FACTS = UUID("b1f6b1f0-58a1-4c5e-9d5e-6a1d7a2b93c4")  # the space that ids of imported facts are made in


@dataclass(frozen=True)
class Plan:
    """`joins` leads from a spelling to the name it stands for. The model and prices are for rows that name none."""

    sheets: tuple[SheetPlan, ...] = ()
    order: str = ""
    joins: dict[str, str] = field(default_factory=dict)
    model: str = ""
    price_cents: int | None = None
    count_cents: int | None = None
    banked: bool = True
    without_wrong: bool = False


def from_json(kept: dict[str, Any]) -> Plan:
    sheets = tuple(
        SheetPlan(one["name"], one["heading"], {int(column): key for column, key in one["columns"].items()})
        for one in kept.get("sheets", [])
    )
    return Plan(**{**kept, "sheets": sheets})


def fact_id(*said: object, turn: int = 0) -> UUID:
    """The id of a fact that a row brings: made from what it says alone, so the same row in another file is the same
    fact. `turn` counts how often it was brought and taken back before."""
    return uuid5(FACTS, " ".join(map(str, (*said, turn))))
