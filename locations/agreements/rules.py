"""An agreement in plain words."""

from collections.abc import Iterator, Sequence

from locations.agreements.rules_periods import Per, Period, Rhythm
from locations.agreements.rules_terms import COSTS, Bearer, Deal, TermKind, TermLine, Tiers, listing
from routeapp.kit.money import active, as_text, currency

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def in_words(deal: Deal, paid: str) -> str:
    """What was agreed as one sentence; `paid` is a phrase.

    For example "40 % of the take after tax, at least $25 a month, settled every month, paid by cheque".
    """
    return ", ".join([terms_in_words(deal), f"settled {rhythm_in_words(deal.settled)}", f"paid {paid}"])


def terms_in_words(deal: Deal) -> str:
    """The terms alone, without when and how they are paid."""
    gets = [*_shares(deal), *_sums(deal, TermKind.RENT, "a rent of "), *_sums(deal, TermKind.VISIT, "")]
    limits = [*_sums(deal, TermKind.MINIMUM, "at least "), *_sums(deal, TermKind.CAP, "at most ")]
    borne = listing([COSTS[cost] for cost in deal.borne_by(Bearer.HOST)])
    words = [" and ".join(gets), f"less {borne}" if borne and gets else "", *limits]
    return ", ".join(one for one in words if one) or "nothing agreed"


def rhythm_in_words(rhythm: Rhythm) -> str:
    return Period(rhythm.kind).label.replace("Friday", WEEKDAYS[rhythm.weekday])


def round_sum(cents: int) -> str:
    """An amount as people say it: $25, but $25.50."""
    return as_text(cents).removesuffix("." + "0" * currency(active()).digits)


def percent(rate_bp: int) -> str:
    """A rate in hundredths of a percent."""
    return f"{rate_bp / 100:g} %"


def _shares(deal: Deal) -> Iterator[str]:
    tiers = deal.of_kind(TermKind.SHARE)
    if not tiers:
        return
    off = listing([COSTS[cost] for cost in deal.borne_by(Bearer.SHARED)])
    take = f"the take after {off}" if off else "the take"
    if len(tiers) == 1:
        yield f"{percent(tiers[0].rate_bp)} of {take}" if tiers[0].rate_bp else f"no share of {take}"
    elif deal.tiers_on == Tiers.WHOLE:
        yield _whole(tiers, take)
    else:
        yield listing([*_parts(tiers, take)])


def _whole(tiers: Sequence[TermLine], take: str) -> str:
    first, *others = tiers
    more = [f"{percent(one.rate_bp)} of all of it once it is above {_mark(one)}" for one in others]
    return ", or ".join([f"{percent(first.rate_bp)} of {take}", *more])


def _parts(tiers: Sequence[TermLine], take: str) -> Iterator[str]:
    for place, line in enumerate(tiers):
        of = f"of {take}" if not place else "of what is above"
        upto = f" up to {_mark(tiers[place + 1])}" if place + 1 < len(tiers) else ""
        yield f"{percent(line.rate_bp)} {of}{upto}"


def _mark(line: TermLine) -> str:
    return f"{round_sum(line.above_cents)} {Per(line.per).label}"


def _sums(deal: Deal, kind: str, before: str) -> Iterator[str]:
    for line in deal.of_kind(kind):
        yield f"{before}{round_sum(line.cents)} {Per(line.per).label if line.per else 'for each visit'}"
