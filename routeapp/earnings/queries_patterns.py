"""How often cash came out short: by month, by person and by cabinet."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from routeapp.cash.queries_bag import over_short
from routeapp.earnings.queries import Book, book, names_of
from routeapp.earnings.rules import Span
from routeapp.earnings.rules_figures import Line
from routeapp.earnings.rules_patterns import Control, Sample, Verdict, centre, p_chart, verdicts
from routeapp.earnings.rules_remarks import FEW_PLAYS
from routeapp.kit.people import called


@dataclass(frozen=True)
class Patterns:
    """`people` by the meters of the cabinets whose cash they took, `fillers` by bags counted again at home."""

    centre: float
    months: list[Control]
    cabinets: list[Verdict]
    people: list[Verdict]
    fillers: list[Verdict]


def patterns(span: Span, zone: str) -> Patterns:
    found = book(span, prizes=False)
    lines = [line for line in found.lines if line.variance is not None]
    names = names_of({line.person for line in lines if line.person is not None})
    months = _samples(found, lines, lambda line: line.day.replace(day=1))
    people = _samples(found, lines, lambda line: names.get(line.person or 0, ""))
    fillers = [_filler(one) for one in over_short(span.since, span.until, zone)]
    return Patterns(
        centre=centre(months),
        months=p_chart(sorted(months, key=lambda one: one.name)),
        cabinets=verdicts(_samples(found, lines, lambda line: found.machines[line.machine].code)),
        people=verdicts([one for one in people if one.name]),
        fillers=verdicts(fillers),
    )


def _samples(found: Book, lines: Iterable[Line], name: Any) -> list[Sample]:
    groups: dict[str, list[bool]] = defaultdict(list)
    for line in lines:
        groups[name(line)].append(_is_short(found, line))
    return [Sample(key, len(each), sum(each)) for key, each in groups.items()]


def _is_short(found: Book, line: Line) -> bool:
    """By more than the change in somebody's pocket."""
    return (line.variance or 0) < -FEW_PLAYS * found.machines[line.machine].price_cents


def _filler(one: Any) -> Sample:
    return Sample(called(one.person), len(one.bags), sum(bag.off < 0 for bag in one.bags))
