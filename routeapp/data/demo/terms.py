"""Terms of more sorts than a share, agreed on during the story, and the taxes of two counties that are on no map."""

from datetime import date, datetime, timedelta
from typing import Any

from locations.agreements.actions import add_agreement
from locations.agreements.models import Agreement
from locations.agreements.rules_terms import Bearer, TermKind, TermLine
from locations.placements.queries import placed_at
from locations.sites.models import Location
from locations.taxes.actions import add_rule, tax_location
from locations.taxes.models import Jurisdiction
from locations.taxes.rules import How, Treatment
from routeapp.data.demo.cast import Cast
from routeapp.kit.clock import month_start

FERRY, LANES, SUDS = "Ostrel ferry hall", "Pellamar Lanes", "Suds of Ostrel"
SHARED = Bearer.SHARED


def _share(rate_bp: int, above: int = 0) -> TermLine:
    return TermLine(TermKind.SHARE, rate_bp=rate_bp, above_cents=above, per="month" if above else "")


NEW_TERMS: dict[str, dict[str, Any]] = {
    FERRY: {
        "terms": [_share(35_00), TermLine(TermKind.MINIMUM, cents=25_00, per="month")],
        "settled": "month", "paid": "transfer", "tax_by": SHARED, "card_fees_by": SHARED,
        "note": "The desk asked for a sum it can count on in winter.",
    },
    LANES: {
        "terms": [_share(40_00), _share(45_00, 600_00), TermLine(TermKind.CAP, cents=900_00, per="month")],
        "settled": "month", "paid": "transfer",
    },
    SUDS: {
        "terms": [_share(20_00), TermLine(TermKind.RENT, cents=30_00, per="month")],
        "settled": "last", "paid": "cheque",
    },
}  # fmt: skip


def agree_further(cast: Cast, now: datetime) -> None:
    """Three hosts on new terms since the month before last, one cabinet on its own; `now` by the local clock."""
    starts_on = month_start(month_start(now.date()) - timedelta(days=40))
    who = {"by": cast.owner, "at": cast.moment(now), "received_at": cast.moment(now)}
    for name, agreed in NEW_TERMS.items():
        if name in cast.locations and not _agreed_on(cast.locations[name], starts_on):
            add_agreement(location=cast.locations[name], starts_on=starts_on, **agreed, **who)
    lanes = cast.locations.get(LANES)
    stay = placed_at(lanes).first() if lanes else None
    if stay:
        terms, how = [_share(50_00)], {"settled": "month", "paid": "transfer", "prize_cost_by": SHARED}
        add_agreement(location=lanes, machine=stay.machine, starts_on=starts_on, terms=terms, **how, **who)
    _tax(cast, now)


def _agreed_on(location: Location, day: date) -> bool:
    """In a story cut short, other terms may start on the very day."""
    return Agreement.objects.live().filter(location=location, machine=None, starts_on=day).exists()


def _tax(cast: Cast, now: datetime) -> None:
    """The sound's two counties: one by a rate, one by divisors, of which one changed with the year."""
    who: dict[str, Any] = {"by": cast.owner, "at": cast.moment(now)}
    since = now.date().replace(month=1, day=1)
    before = since.replace(year=since.year - 1)
    play, goods = Treatment.AMUSEMENT, Treatment.GOODS
    for place, treatment, how, millionths, day, source in (
        ("Ostrel County", play, How.RATE, 40_000, before, "county notice 7, invented for this demonstration"),
        ("Sound County", play, How.DIVISOR, 1_045_000, before, "county order 12, invented for this demonstration"),
        ("Sound County", play, How.DIVISOR, 1_050_000, since, "county order 19, invented for this demonstration"),
        ("Sound County", goods, How.DIVISOR, 1_070_700, before, "county order 12, invented for this demonstration"),
    ):
        rule = {"treatment": treatment, "how": how, "millionths": millionths, "valid_from": day, "source": source}
        add_rule(jurisdiction=place, **rule, **who)
    places = {one.name: one for one in Jurisdiction.objects.all()}
    for location in cast.locations.values():
        place = places["Ostrel County" if "Ostrel" in f"{location.name} {location.address}" else "Sound County"]
        tax_location(location=location, jurisdiction=place, starts_on=before, **who)
