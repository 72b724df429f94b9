"""What it costs to have cabinets at the door: each line with its basis, and what the term already has in the price."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from machines.purchases import rules_fees as fees
from machines.purchases.rules_terms import INCLUDED, Basis, Cost, Mode, Term
from routeapp.kit.money import as_text, currency, half_up

WHOLE = 10_000  # basis points in one


@dataclass(frozen=True)
class Extra:
    """One cost that a quote names on top of its price: `amount` in minor units, or in basis points of the price."""

    kind: str
    basis: str
    amount: int
    ours: bool = False  # in our currency, not in that of the quote


@dataclass(frozen=True)
class Import:
    """What customs will ask for. Rates in basis points; `on` is the day of entry."""

    us: bool
    on: date
    duty: int = 0
    extra_duty: int = 0
    tax: int = 0
    tax_comes_back: bool = True


@dataclass(frozen=True)
class Offer:
    """A quote for so many pieces. `rate` turns whole units of `theirs` (ISO 4217) into whole units of `ours`."""

    pieces: int
    unit_cents: int
    theirs: str
    ours: str
    rate: Decimal
    term: str
    mode: str
    extras: tuple[Extra, ...] = ()
    crate_litres: int | None = None
    crate_kg: int | None = None
    kg_per_m3: int = 1000
    entry: Import | None = None  # None for what is in the country already


@dataclass(frozen=True)
class Line:
    """One line for all pieces, in our minor units; None where there is no figure. A line that is not counted is shown
    because somebody would look for it."""

    kind: str
    cents: int | None
    basis: str
    counted: bool = True

    @property
    def label(self) -> str:
        return "Price" if self.kind == "price" else Cost(self.kind).label


@dataclass(frozen=True)
class Landed:
    """All lines for `pieces`. `missing` are sentences about what has no figure and is therefore not in the total."""

    pieces: int
    lines: list[Line]
    missing: list[str] = field(default_factory=list)

    @property
    def total(self) -> int:
        return sum(line.cents or 0 for line in self.lines if line.counted)

    @property
    def each(self) -> int:
        return half_up(Decimal(self.total) / self.pieces)

    @property
    def price(self) -> int:
        return next(line.cents or 0 for line in self.lines if line.kind == "price")


def unit_price(prices: Iterable[tuple[int, int]], pieces: int) -> int | None:
    """The price of one when `pieces` are taken, from (from how many, price); None below the least quantity."""
    return max(((least, cents) for least, cents in prices if least <= pieces), default=(0, None))[1]


def landed(offer: Offer) -> Landed:
    """Every line from the price to the door."""
    price = Line("price", _ours(offer, offer.pieces * offer.unit_cents), _price_basis(offer))
    extras = [_extra(offer, extra, price.cents or 0) for extra in offer.extras]
    lines, missing = [price, *extras], [f"{line.label}: {line.basis}" for line in extras if line.cents is None]
    if offer.entry:
        value, words = _customs_value(offer, offer.entry, lines)
        lines += _duties(offer, offer.entry, value, words)
        fee = _processing_fee(offer, offer.entry, value)
        lines += fee
        missing += [f"{line.label}: {line.basis}" for line in fee if line.cents is None]
        lines += _tax(offer, offer.entry, lines)
    order = ["price", *Cost.values]
    return Landed(offer.pieces, sorted(lines, key=lambda line: order.index(line.kind)), missing)


def chargeable(litres: int, kg: int, kg_per_m3: int) -> Decimal:
    """What a carrier measures by, in m³ or tonnes: whichever is more. `kg_per_m3` is a term of the tariff."""
    return max(Decimal(litres) / 1000, Decimal(kg) / kg_per_m3)


def _ours(offer: Offer, cents: int | Decimal) -> int:
    """An amount of the quote's currency in ours, half up."""
    if offer.theirs == offer.ours:
        return half_up(Decimal(cents))
    return half_up(Decimal(cents) * offer.rate * currency(offer.ours).one / currency(offer.theirs).one)


def _price_basis(offer: Offer) -> str:
    words = f"{offer.pieces} × {as_text(offer.unit_cents, offer.theirs)}, {offer.term}"
    return words if offer.theirs == offer.ours else f"{words}, at {offer.rate.normalize():f}"


def _extra(offer: Offer, extra: Extra, price: int) -> Line:
    cents, basis = _amount(offer, extra, price)
    if extra.kind in INCLUDED[offer.term]:
        return Line(extra.kind, cents, f"in the price ({offer.term}), not counted again", counted=False)
    return Line(extra.kind, cents, basis)


def _amount(offer: Offer, extra: Extra, price: int) -> tuple[int | None, str]:
    """What one extra comes to in our currency, and how."""
    if extra.basis == Basis.SHARE:
        return half_up(Decimal(price * extra.amount) / WHOLE), f"{extra.amount / 100:g} % of the price"
    times, how = _times(offer, extra.basis)
    if times is None:
        return None, how
    amount = times * extra.amount
    words = f"{how}{as_text(extra.amount, offer.ours if extra.ours else offer.theirs)}"
    return half_up(amount) if extra.ours else _ours(offer, amount), words


def _times(offer: Offer, basis: str) -> tuple[Decimal | None, str]:
    """How often an amount is charged, and the words before it."""
    if basis == Basis.EACH:
        return Decimal(offer.pieces), f"{offer.pieces} × "
    if basis == Basis.SHIPMENT:
        return Decimal(1), "for all of it: "
    if offer.crate_litres is None or offer.crate_kg is None:
        return None, "goes by m³ or tonne, and the size or weight of a crate is not known"
    measure = chargeable(offer.pieces * offer.crate_litres, offer.pieces * offer.crate_kg, offer.kg_per_m3)
    seen = f"{offer.pieces * offer.crate_litres / 1000:g} m³, {offer.pieces * offer.crate_kg / 1000:g} t"
    return measure, f"{seen}: {measure.normalize():f} × "


def _customs_value(offer: Offer, entry: Import, lines: list[Line]) -> tuple[int, str]:
    """What duty is worked out on, and in words what is in it.

    The United States leave international freight and insurance out (19 CFR 152.103), others count them (from memory).
    Where the term has them in the price, what the quote names as freight is taken off again.
    """
    goods = sum(line.cents or 0 for line in lines if line.kind in ("price", Cost.SPARES, Cost.CRATING) and line.counted)
    carriage = [line for line in lines if line.kind in (Cost.FREIGHT, Cost.INSURANCE)]
    if not entry.us:
        return goods + sum(line.cents or 0 for line in carriage if line.counted), "goods, freight and insurance"
    inside = sum(line.cents or 0 for line in carriage if not line.counted)
    if inside:
        words = f"goods without {as_text(inside, offer.ours)} carriage in the price"
    elif Cost.FREIGHT in INCLUDED[offer.term]:
        words = "the whole price; name the freight inside it and it is taken off"
    else:
        words = "goods without freight"
    return fees.whole_dollars(goods - inside), words


def _duties(offer: Offer, entry: Import, value: int, words: str) -> Iterator[Line]:
    paid = Cost.DUTY not in INCLUDED[offer.term]
    for kind, rate in ((Cost.DUTY, entry.duty), (Cost.EXTRA_DUTY, entry.extra_duty)):
        if rate:
            basis = f"{rate / 100:g} % of {as_text(value, offer.ours)}: {words}"
            yield Line(kind, half_up(Decimal(value * rate) / WHOLE), basis if paid else _inside(offer), paid)
    if entry.us and offer.mode == Mode.SEA:
        basis = f"0.125 % of {as_text(value, offer.ours)}, by sea (19 CFR 24.24)"
        yield Line(Cost.HARBOUR_FEE, fees.harbour_fee(value), basis if paid else _inside(offer), paid)


def _inside(offer: Offer) -> str:
    return f"in the price ({offer.term}), not counted again"


def _processing_fee(offer: Offer, entry: Import, value: int) -> list[Line]:
    """The fee by the tables, unless the quote names it or the term has it in the price."""
    if not entry.us or offer.term == Term.DDP or any(one.kind == Cost.PROCESSING_FEE for one in offer.extras):
        return []
    year, known = fees.fee_year(entry.on), fees.last_known(entry.on)
    fee = fees.processing_fee(value, year) if year else None
    limits = f"at least {as_text(known.least, offer.ours)}, at most {as_text(known.most, offer.ours)} ({known.name})"
    if fee is None:
        words = f"no figure for {entry.on.day} {entry.on:%B %Y}, last known: {limits}"
        return [Line(Cost.PROCESSING_FEE, None, words, counted=False)]
    if value <= fees.INFORMAL_UP_TO:
        return [Line(Cost.PROCESSING_FEE, fee, f"informal entry ({known.name})")]
    return [Line(Cost.PROCESSING_FEE, fee, f"0.3464 % of {as_text(value, offer.ours)}, {limits}")]


def _tax(offer: Offer, entry: Import, lines: list[Line]) -> Iterator[Line]:
    """VAT or GST on all that was paid up to the door, bank cost aside: common practice, no source."""
    if not entry.tax:
        return
    base = sum(line.cents or 0 for line in lines if line.counted and line.kind != Cost.BANK)
    cents, basis = half_up(Decimal(base * entry.tax) / WHOLE), f"{entry.tax / 100:g} % of {as_text(base, offer.ours)}"
    if Cost.TAX in INCLUDED[offer.term]:
        yield Line(Cost.TAX, cents, _inside(offer), counted=False)
    elif entry.tax_comes_back:
        yield Line(Cost.TAX, cents, f"{basis}; it comes back, so it is no cost", counted=False)
    else:
        yield Line(Cost.TAX, cents, basis)
