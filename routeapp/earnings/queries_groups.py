"""The statement by cabinet, location, host, model or month, and the amounts behind each of its figures."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from routeapp.earnings.queries_profit import Profit
from routeapp.earnings.rules import Span, twelve_months
from routeapp.earnings.rules_keep import Advice, Kept, Lack, advice
from routeapp.earnings.rules_profit import Amount, Part, Statement, added_up, by, months_of
from routeapp.kit.clock import month_start

NONE = "none"  # what belongs to no cabinet or no location, in an address


@dataclass(frozen=True)
class Grouping:
    """One way to look at the statement; `none` is what stands in place of a name where there is none."""

    label: str
    none: str
    of: Callable[[Profit, Amount], Any]
    name: Callable[[Profit, Any], tuple[str, str]]  # (name, what is said about it)

    def ref(self, profit: Profit, amount: Amount) -> str:
        key = self.of(profit, amount)
        return NONE if key is None else str(key)

    def named(self, profit: Profit, key: Any) -> tuple[str, str]:
        return (self.none, "") if key is None else self.name(profit, key)


def _host(profit: Profit, amount: Amount) -> int | None:
    return None if amount.location is None else profit.locations[amount.location].host_id


def _model(profit: Profit, amount: Amount) -> int | None:
    return None if amount.machine is None else profit.machines[amount.machine].model_id


def _host_name(profit: Profit, key: int) -> tuple[str, str]:
    return next(one.host.name for one in profit.locations.values() if one.host_id == key), ""


def _model_name(profit: Profit, key: int) -> tuple[str, str]:
    return next(one.model.name for one in profit.machines.values() if one.model_id == key), ""


def _cabinet_name(profit: Profit, key: int) -> tuple[str, str]:
    return profit.machines[key].code, profit.machines[key].model.name


GROUPINGS = {
    "cabinet": Grouping("By cabinet", "No cabinet", lambda _, one: one.machine, _cabinet_name),
    "location": Grouping(
        "By location", "No location", lambda _, one: one.location, lambda profit, key: (profit.locations[key].name, "")
    ),
    "host": Grouping("By host", "No host", _host, _host_name),
    "model": Grouping("By model", "No cabinet", _model, _model_name),
    "month": Grouping(
        "By month", "", lambda _, one: one.day.replace(day=1), lambda _, key: (f"{key:%B %Y}", key.isoformat())
    ),
}
FIRST_GROUPING = "cabinet"


@dataclass(frozen=True)
class Row:
    """One cabinet, location, host, model or month."""

    key: Any
    name: str
    about: str
    statement: Statement

    @property
    def ref(self) -> str:
        return NONE if self.key is None else str(self.key)


def rows(profit: Profit, grouping: str) -> list[Row]:
    """The statement row by row: months in their order, all else by profit, the best first."""
    chosen = GROUPINGS[grouping]
    groups = by(profit.amounts, lambda one: chosen.of(profit, one))
    found = [Row(key, *chosen.named(profit, key), statement) for key, statement in groups.items()]
    if grouping == "month":
        return sorted(found, key=lambda row: row.key)
    return sorted(found, key=lambda row: (-row.statement.profit, row.name))


def behind(profit: Profit, grouping: str, ref: str, part: str) -> list[Amount]:
    """The amounts that a figure was opened from, the newest first; an empty `ref` or `part` leaves nothing out."""
    chosen = GROUPINGS[grouping]
    wanted = (one for one in profit.amounts if part in ("", one.part))
    found = [one for one in wanted if ref in ("", chosen.ref(profit, one))]
    return sorted(found, key=lambda one: (one.day, one.part, one.machine or 0), reverse=True)


def name_of(profit: Profit, grouping: str, ref: str) -> str:
    """Whose figure it is that was opened; empty for all together and for what is not in these days."""
    chosen = GROUPINGS[grouping]
    keys = (chosen.of(profit, one) for one in profit.amounts if ref and chosen.ref(profit, one) == ref)
    return next((chosen.named(profit, key)[0] for key in keys), "")


def kept(profit: Profit) -> list[Kept]:
    """Every cabinet that stood somewhere or had an amount in these days."""
    groups = by((one for one in profit.amounts if one.machine is not None), lambda one: one.machine)
    places = _places(profit.amounts)
    return [
        Kept(
            key=key,
            code=machine.code,
            location=places.get(key),
            place=profit.locations[places[key]].name if key in places else "",
            statement=groups.get(key, Statement()),
            lacks=profit.lacks(key),
        )
        for key, machine in profit.machines.items()
        if key in groups or any(stay.days_in(profit.span) for stay in profit.stays.get(key, ()))
    ]


def _places(amounts: Iterable[Amount]) -> dict[int, int]:
    """Where each cabinet earned last."""
    latest: dict[int, tuple[date, int]] = {}
    for one in amounts:
        if one.machine is not None and one.location is not None and one.part in (Part.CASH, Part.CARDS):
            latest[one.machine] = max(latest.get(one.machine, (date.min, 0)), (one.day, one.location))
    return {machine: location for machine, (_, location) in latest.items()}


@dataclass(frozen=True)
class Lacking:
    """Cabinets whose own cost is not among the amounts."""

    of: list[Kept]

    @property
    def cost(self) -> list[Kept]:
        return [one for one in self.of if one.lacks is Lack.COST]

    @property
    def years(self) -> list[Kept]:
        return [one for one in self.of if one.lacks is Lack.YEARS]

    @property
    def many(self) -> int:
        return len(self.cost) + len(self.years)


@dataclass(frozen=True)
class Overview:
    """What the profit page says first."""

    total: Statement
    kept: list[Kept]
    advice: list[Advice]

    @property
    def earning(self) -> list[Kept]:
        return [one for one in self.kept if one.earns_its_keep]

    @property
    def losing(self) -> list[Kept]:
        """Those that leave nothing, the dearest first."""
        return sorted((one for one in self.kept if not one.leaves_something), key=lambda one: one.statement.profit)

    @property
    def open(self) -> list[Kept]:
        """Those of which it is not known, as what was paid for them is missing."""
        return [one for one in self.kept if one.is_open]

    @property
    def lacking(self) -> Lacking:
        return Lacking(self.kept)


def overview(profit: Profit) -> Overview:
    every = kept(profit)
    return Overview(added_up(profit.amounts), every, advice(every))


@dataclass(frozen=True)
class Month:
    """One month of a cabinet or location; `is_over` says that nothing of it is to come."""

    span: Span
    statement: Statement
    is_over: bool


@dataclass(frozen=True)
class Months:
    """The last months, the newest first, and the last three whole ones together."""

    each: list[Month]
    recent: Statement
    recent_span: Span


def months(amounts: Iterable[Amount], today: date) -> Months:
    """Of the last twelve months and the one that runs."""
    amounts = list(amounts)
    groups = by(amounts, lambda one: month_start(one.day))
    spans = months_of(Span(twelve_months(today).since, today))
    each = [Month(one, groups.get(one.since, Statement()), one.is_month() and one.until < today) for one in spans]
    first = next((place for place, one in enumerate(each) if one.statement.parts), len(each))
    recent = Span(spans[-4].since, spans[-2].until)
    return Months(
        each=each[first:][::-1],
        recent=added_up(one for one in amounts if recent.since <= one.day <= recent.until),
        recent_span=recent,
    )
