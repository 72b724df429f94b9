"""A comparison of quotes for a purpose: what each costs, when it earns, which one wins from which take on."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Q, QuerySet

from machines.purchases import rules_compare as rules
from machines.purchases.models import Quote
from machines.purchases.queries import landed_of, latest_quotes, lowest_quantity
from machines.purchases.queries_orders import Record, records
from machines.purchases.rules_compare import Choice, Purpose, Stretch, Worth
from machines.purchases.rules_futures import FUTURES, Outlook, Strain, draw, strain
from machines.purchases.rules_landed import WHOLE, Landed
from machines.purchases.rules_picture import Crossing, crossing


def comparable_quotes(today: date) -> QuerySet:
    """Quotes for cabinets that hold today, the newest first."""
    holds = Q(valid_until=None) | Q(valid_until__gte=today)
    return latest_quotes().filter(holds, model__isnull=False)


@dataclass(frozen=True)
class Compared:
    """One quote of a comparison, with its number in the picture."""

    number: int
    quote: Quote
    landed: Landed
    record: Record
    worth: Worth
    outlook: Outlook
    strain: Strain
    value: int
    payback: float | None

    @property
    def name(self) -> str:
        return self.quote.supplier.name

    @property
    def cost(self) -> int:
        return round(self.worth.cost_cents)

    @property
    def value_low(self) -> int:
        return round(self.outlook.value.low)

    @property
    def value_high(self) -> int:
        return round(self.outlook.value.high)

    @property
    def cannot_bear(self) -> list[str]:
        """What mishaps would make a loss of it, in words."""
        late = f"comes in week {self.strain.late_weeks:.0f}, as one in ten does"
        mishaps = [(self.strain.late_value, late), (self.strain.broken_value, "brings one broken cabinet")]
        return [words for value, words in mishaps if value < 0 <= self.value]


@dataclass(frozen=True)
class Rivals:
    """The cheaper one and the dearer that earns sooner: above `take` a week the dearer wins, in `chance` of futures."""

    cheap: Compared
    dear: Compared
    take: int
    chance: float


@dataclass(frozen=True)
class Comparison:
    purpose: Purpose
    rows: list[Compared]  # the best first
    edge: list[tuple[int, Compared]]  # from which weekly take on which one is worth most
    rivals: Rivals | None
    left_out: list[tuple[Quote, int]]  # with the least quantity of each
    picture: Crossing
    futures: int = FUTURES

    @property
    def best(self) -> Compared:
        return self.rows[0]

    @property
    def error(self) -> int:
        """The largest standard error of a drawn mean."""
        return round(max(row.outlook.error for row in self.rows))


def compare(quotes: Iterable[Quote], purpose: Purpose, today: date, zone: str) -> Comparison | None:
    """Compare quotes as if ordered today; None when none of them is offered for so few."""
    every = list(quotes)
    priced = [(quote, landed_of(quote, purpose.cabinets, today)) for quote in every]
    left_out = [(quote, lowest_quantity(quote)) for quote, landed in priced if landed is None]
    known = records({quote.supplier for quote in every}, zone)
    offers = [(quote, landed, known[quote.supplier_id]) for quote, landed in priced if landed]
    if not offers:
        return None
    choices = [_choice(*offer) for offer in offers]
    worths = [rules.worth(choice, purpose) for choice in choices]
    drawn = draw(choices, purpose)
    rows = [
        Compared(
            number=number,
            quote=quote,
            landed=landed,
            record=record,
            worth=worth,
            outlook=outlook,
            strain=strain(worth.choice, purpose),
            value=round(worth.value(purpose.weekly_cents)),
            payback=rules.payback_weeks(worth, purpose),
        )
        for number, ((quote, landed, record), worth, outlook) in enumerate(
            zip(offers, worths, drawn.outlooks, strict=True), 1
        )
    ]
    edge = rules.best_by_take(worths)
    by_worth = {id(row.worth): row for row in rows}
    turns = [(round(stretch.since), by_worth[id(stretch.worth)]) for stretch in edge]
    pair = _rivals(edge, worths)
    rivals = None
    if pair:
        cheap, dear = by_worth[id(pair[0])], by_worth[id(pair[1])]
        take = rules.break_even(*pair) or 0
        rivals = Rivals(cheap, dear, round(take), drawn.beats(dear.number - 1, cheap.number - 1))
    return Comparison(
        purpose=purpose,
        rows=sorted(rows, key=lambda row: -row.value),
        edge=turns,
        rivals=rivals,
        left_out=left_out,
        picture=crossing([(row.name, row.worth) for row in rows], purpose.weekly_cents, [take for take, _ in turns]),
    )


def _choice(quote: Quote, landed: Landed, record: Record) -> Choice:
    return Choice(
        name=quote.supplier.name,
        landed_cents=landed.total,
        price_cents=landed.price,
        deposit=quote.deposit_bp / WHOLE,
        made=quote.made_days / quote.lead_days,
        lead_days=quote.lead_days,
        lateness=record.lateness,
        damage=record.damage,
    )


def _rivals(edge: Sequence[Stretch], worths: Sequence[Worth]) -> tuple[Worth, Worth] | None:
    """The cheapest one and what takes over from it; without that, nothing dearer earns sooner."""
    cheap = edge[0].worth
    if len(edge) > 1:
        return cheap, edge[1].worth
    sooner = [one for one in worths if one.weeks > cheap.weeks]
    return (cheap, min(sooner, key=lambda one: rules.break_even(cheap, one) or 0)) if sooner else None
