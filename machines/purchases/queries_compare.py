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
    chance: float

    @property
    def take(self) -> int:
        return round(rules.break_even(self.cheap.worth, self.dear.worth) or 0)


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


@dataclass(frozen=True)
class _Offer:
    quote: Quote
    landed: Landed
    record: Record
    worth: Worth


def compare(quotes: Iterable[Quote], purpose: Purpose, today: date, zone: str) -> Comparison | None:
    """Compare quotes as if ordered today; None when none of them is offered for so few."""
    every = list(quotes)
    offers = _offers(every, purpose, today, zone)
    if not offers:
        return None
    drawn = draw([offer.worth.choice for offer in offers], purpose)
    rows = [_row(n, offer, purpose, out) for n, (offer, out) in enumerate(zip(offers, drawn.outlooks, strict=True), 1)]
    edge = rules.best_by_take([row.worth for row in rows])
    row_of = {id(row.worth): row for row in rows}
    turns = [(round(stretch.since), row_of[id(stretch.worth)]) for stretch in edge]
    pair = _rivals(edge, rows)
    return Comparison(
        purpose=purpose,
        rows=rows,
        edge=turns,
        rivals=Rivals(*pair, drawn.beats(pair[1].number - 1, pair[0].number - 1)) if pair else None,
        left_out=[(quote, lowest_quantity(quote)) for quote in every if lowest_quantity(quote) > purpose.cabinets],
        picture=crossing([row.worth for row in rows], purpose.weekly_cents, [take for take, _ in turns]),
    )


def _offers(quotes: list[Quote], purpose: Purpose, today: date, zone: str) -> list[_Offer]:
    """Those that are offered for so many, worked out on the mean, the best first."""
    known = records({quote.supplier for quote in quotes}, zone)
    found = []
    for quote in quotes:
        if landed := landed_of(quote, purpose.cabinets, today):
            record = known[quote.supplier_id]
            found.append(_Offer(quote, landed, record, rules.worth(_choice(quote, landed, record), purpose)))
    return sorted(found, key=lambda offer: -offer.worth.value(purpose.weekly_cents))


def _row(number: int, offer: _Offer, purpose: Purpose, outlook: Outlook) -> Compared:
    return Compared(
        number=number,
        quote=offer.quote,
        landed=offer.landed,
        record=offer.record,
        worth=offer.worth,
        outlook=outlook,
        strain=strain(offer.worth.choice, purpose),
        value=round(offer.worth.value(purpose.weekly_cents)),
        payback=rules.payback_weeks(offer.worth, purpose),
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


def _rivals(edge: Sequence[Stretch], rows: list[Compared]) -> tuple[Compared, Compared] | None:
    """The cheapest one and what takes over from it; None when nothing dearer earns sooner."""
    if len(edge) < 2:
        return None
    cheap, dear = (next(row for row in rows if row.worth is stretch.worth) for stretch in edge[:2])
    return cheap, dear
