"""What waits at some locations of the story, and how its suppliers deliver."""

from datetime import timedelta
from typing import Any
from uuid import UUID

from routeapp.data.demo.cast import Cast
from routeapp.data.demo.names import OWNER, PRIZES
from routeapp.planning.actions_due import note_to_do, promise
from routeapp.planning.actions_order import set_terms

PROMISED = {"Ostrel ferry hall": (7, "the terminal's manager"), "Tidemoor fish bar": (14, "")}
TO_DO = (
    ("Quillhaven camp shop", "bring", "New price sign for the capsules", 9),
    ("Pellamar Lanes", "bring", "Rubber feet, the floor is uneven", None),
    ("Ostrel ferry hall", "permit", "Yearly sticker of the harbour office", 19),
)
LEAD_DAYS = (70, 24, 12)  # by ship, by road, from around the corner


def leave_waiting(cast: Cast, now: Any) -> None:
    """Promises to hosts, things to bring, a permit to renew, and on which terms prizes come."""
    by, at = cast.people[OWNER.username], cast.moment(now)
    for name, (every, note) in PROMISED.items():
        if name in cast.locations:
            promise(location=cast.locations[name], every_days=every, note=note, by=by, at=at)
    for number, (name, errand, text, days) in enumerate(TO_DO):
        if name in cast.locations:
            day = now.date() + timedelta(days=days) if days else None
            said = {"uuid": UUID(int=7000 + number), "errand": errand, "text": text, "by_day": day}
            note_to_do(location=cast.locations[name], **said, by=by, at=at)
    suppliers = sorted({prize.supplier for prize in PRIZES.values()}, reverse=True)
    for name, days in zip(suppliers, LEAD_DAYS, strict=False):
        terms = {"lead_days": days, "spread_days": days // 5, "every_days": 14}
        set_terms(supplier=name, **terms, freight_cents=4_500, free_from_cents=60_000, by=by, at=at)
