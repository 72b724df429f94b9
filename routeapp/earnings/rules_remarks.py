"""What is unusual among cabinets, locations and people, in words. The limits are common practice, no source."""

from collections.abc import Iterable
from dataclasses import dataclass

from routeapp.earnings.rules import comparison
from routeapp.earnings.rules_figures import Figures
from routeapp.kit.money import as_text

FEW_PLAYS = 3  # a variance of less than this many plays is the change in somebody's pocket
PART_OF_TAKE = 50  # nor is a fiftieth of what was taken unusual
ENOUGH_PRIZES = 8  # fewer say nothing about a payout
ENOUGH_COLLECTIONS = 5  # fewer say nothing about a person
ENOUGH_DAYS = 2  # of visits; a single one may only have come late
MOST_REMARKS = 8


@dataclass(frozen=True)
class Subject:
    """A cabinet, location or person on paper. `price` of a play in minor units; `target` plays per prize."""

    kind: str
    key: int
    name: str
    figures: Figures
    price: int = 0
    target: int | None = None
    take_before: int | None = None


@dataclass(frozen=True)
class Remark:
    """Something worth a look; `weight` in minor units brings the dearest first."""

    subject: Subject
    text: str
    weight: int


def remarks(
    cabinets: list[Subject], locations: Iterable[Subject], people: Iterable[Subject], before: str
) -> list[Remark]:
    """The dearest of all remarks, dearest first. `before` says when the earlier take was."""
    total_take = sum(one.figures.take for one in cabinets)
    share_of_all = sum(one.figures.prize_cost for one in cabinets) / total_take if total_take else 0.0
    price = max((one.price for one in cabinets), default=100)
    found = [remark for one in cabinets for remark in _about_cabinet(one, share_of_all)]
    found += [remark for one in locations for remark in _about_location(one, before)]
    found += [remark for one in people for remark in _about_person(one, price)]
    return sorted(found, key=lambda remark: -remark.weight)[:MOST_REMARKS]


def is_out_of_line(over_short: int, price: int, take: int) -> bool:
    """Whether a variance is more than a few plays and more than a small part of what was taken."""
    return abs(over_short) > FEW_PLAYS * price and abs(over_short) * PART_OF_TAKE > take


def _about_cabinet(one: Subject, share_of_all: float) -> list[Remark]:
    figures, found = one.figures, []
    if is_out_of_line(figures.over_short, one.price, figures.take):
        found.append(_cash(one))
    if figures.visits and not figures.take and not figures.uncounted:
        text = f"took nothing in {_many(figures.visits, 'visit')}."
        found.append(Remark(one, text, 20 * one.price * figures.visits))
    if figures.prizes >= ENOUGH_PRIZES:
        found += _payout(one) or _prize_cost(one, share_of_all)
    return found


def _cash(one: Subject) -> Remark:
    short = one.figures.over_short < 0
    text = f"is {'short' if short else 'over'} by {as_text(abs(one.figures.over_short))} over "
    text += f"{_many(one.figures.known, 'collection')}."
    return Remark(one, text + ("" if short else " Does its meter count every play?"), abs(one.figures.over_short))


def _payout(one: Subject) -> list[Remark]:
    payout, figures = one.figures.payout, one.figures
    if payout is None or not one.target or 0.7 <= payout / one.target <= 1.4:
        return []
    easy = payout < one.target
    text = f"gives a prize every {payout:.0f} plays and aims at {one.target}: "
    text += "players win too easily." if easy else "players win too seldom and may stop trying."
    as_it_aims = (figures.plays or 0) * figures.prize_cost // figures.prizes // one.target
    return [Remark(one, text, abs(figures.prize_cost - as_it_aims))]


def _prize_cost(one: Subject, share_of_all: float) -> list[Remark]:
    share = one.figures.cost_share
    if share is None or share < 2 * share_of_all:
        return []
    text = f"spends {share:.0%} of its take on prizes; all cabinets together {share_of_all:.0%}.".replace("%", " %")
    return [Remark(one, text, int(one.figures.prize_cost - share_of_all * one.figures.take))]


def _about_location(one: Subject, before: str) -> list[Remark]:
    then, now = one.take_before, one.figures.take
    if not then or one.figures.days < ENOUGH_DAYS or one.figures.uncounted or now * 2 > then:
        return []
    return [Remark(one, f"took {as_text(now)}, {comparison(now, then, before)}.", then - now)]


def _about_person(one: Subject, price: int) -> list[Remark]:
    figures = one.figures
    if figures.known < ENOUGH_COLLECTIONS or figures.over_short > -ENOUGH_COLLECTIONS * FEW_PLAYS * price:
        return []
    if not is_out_of_line(figures.over_short, price, figures.take):
        return []
    text = f"was short by {as_text(-figures.over_short)} over {_many(figures.known, 'collection')} altogether."
    return [Remark(one, text, -figures.over_short)]


def _many(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"
