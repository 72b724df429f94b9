"""What the business of the story spent, drove and gave back to players in the last months."""

from datetime import datetime, timedelta
from uuid import uuid5

from routeapp.data.demo import names, pictures
from routeapp.data.demo.cast import Cast
from routeapp.expenses.actions import note_trip
from routeapp.expenses.actions import spend as spend_on
from routeapp.expenses.actions_refunds import refund
from routeapp.expenses.queries import undecided
from routeapp.visits.queries_trips import proposals

# Days ago, category, what, cents, paid from.
SPENT = (
    (86, "insurance", "Van, three months", 412_00, "bank"),
    (61, "permits", "Stickers for six cabinets", 180_00, "bank"),
    (47, "parts", "Joysticks and a power supply", 96_40, "owner"),
    (33, "storage", "Storage unit", 145_00, "bank"),
    (19, "vehicle", "Two tyres", 238_90, "bank"),
    (12, "tools", "Glass cleaner, cloths, cable ties", 27_15, "owner"),
    (3, "storage", "Storage unit", 145_00, "bank"),
)
HOME = 84  # tenths of a mile there and back, read off the car


def spend(cast: Cast, local: datetime) -> None:
    at = cast.moment(local - timedelta(minutes=10))
    for ago, category, what, cents, purse in SPENT:
        spend_on(
            uuid=uuid5(names.NAMES, f"expense {ago}"),
            day=(local - timedelta(days=ago)).date(),
            category=category,
            what=what,
            cents=cents,
            paid_from=purse,
            zone=names.ZONE,
            receipt=pictures.cabinet("claw", ago) if purse == "owner" else None,
            by=cast.owner,
            at=at,
        )
    _drive(at)
    _give_back(cast, at)


def _drive(at: datetime) -> None:
    """All but the last days' drives are in the log."""
    for one in proposals(at, "mi"):
        if one.day < (at - timedelta(days=6)).date():
            note_trip(
                uuid=uuid5(names.NAMES, f"trip {one.driver.pk} {one.day}"),
                day=one.day,
                driver=one.driver,
                way=" – ".join(["Store", *one.stops, "Store"])[:500],
                purpose="Visits to cabinets",
                tenths=(one.tenths or 0) + HOME,
                unit="mi",
                measured=one.day.day % 2 == 0,
                by=one.driver,
                at=at,
            )


def _give_back(cast: Cast, at: datetime) -> None:
    """Those who told of lost money long ago have it back; the last ones wait."""
    for fault in list(undecided())[:-2]:
        refund(
            uuid=uuid5(names.NAMES, f"refund {fault.uuid}"),
            fault=fault,
            cents=fault.amount_cents or 100,
            paid_from="owner",
            zone=names.ZONE,
            note="by phone",
            close=True,
            by=cast.owner,
            at=max(fault.at, at - timedelta(days=2)),
            received_at=at,
        )
