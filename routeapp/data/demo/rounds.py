"""Who drives in the demo, what was promised, the rounds of the next days, and one plan to look at."""

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from routeapp.data.demo import names
from routeapp.data.demo.cast import Cast
from routeapp.planning import actions_calendar, actions_crew, actions_plan, queries_driven
from routeapp.planning.actions_road import take_note
from routeapp.planning.actions_rounds import make_round
from routeapp.planning.models_rounds import Driver, Round
from routeapp.planning.queries_driven import Driven
from routeapp.planning.rules_note import SkipNote, TickNote

STORE = {"start_name": "Boathouse store", "start_latitude": Decimal("38.6155"), "start_longitude": Decimal("-69.3301")}
SHIFT = (time(8, 30), time(17))
STOPS, DAYS, FIRST_ID = 6, 3, 7_100


def drive(cast: Cast, local: datetime) -> None:
    """From the day of `local` on: drivers, a pin, a round a day, and a plan nobody took into use yet."""
    now = cast.moment(local)
    who: dict[str, Any] = {"by": cast.owner, "at": now}
    _crew(cast, who)
    promised = next(reversed(cast.locations.values()))
    day = local.date() + timedelta(days=3)
    actions_crew.pin(location=promised, wish="must", day=day, reason="A school fair was promised full cabinets", **who)
    past = queries_driven.driven(now)
    made: list[list[int]] = []
    for number in range(DAYS):
        day = local.date() + timedelta(days=number)
        if day.weekday() != 6 and (order := _order(past, day, [pk for each in made for pk in each])):
            made.append(order)
            _round(cast, FIRST_ID + number, day, order, local, who)
    actions_calendar.make_link(person=cast.people[names.HAND.username], **who)
    asked: dict[str, Any] = {"first_day": local.date() + timedelta(days=1), "days": 5, "vary_cents": 500, "seconds": 1}
    actions_plan.start(uuid=UUID(int=FIRST_ID - 1), drivers=list(Driver.objects.all()), **asked, **who)


def _crew(cast: Cast, who: dict[str, Any]) -> None:
    van = actions_crew.save_vehicle(vehicle=None, name="The blue van", pieces=1400, cents_per_km=46, **who)
    car = actions_crew.save_vehicle(vehicle=None, name="The estate car", pieces=450, cents_per_km=38, **who)
    for one, vehicle, days in ((names.HAND, van, range(6)), (names.OWNER, car, (1, 4))):
        shifts = dict.fromkeys(days, SHIFT)
        more = {"cents_per_hour": 2400, "most_driving": 300, **STORE}
        actions_crew.save_driver(person=cast.people[one.username], hours=shifts, vehicle=vehicle, **more, **who)


def _order(past: Sequence[Driven], day: date, taken: Sequence[int]) -> list[int]:
    """Where people were on this day, and then what is due soonest, in the order of the usual hours."""
    habits = queries_driven.habits(past)
    been = [one.location for one in past if one.came.date() == day]
    due = sorted((pk for pk in habits if pk not in {*been, *taken}), key=lambda pk: (habits[pk].next_on(date.min), pk))
    return [*dict.fromkeys(been), *sorted(due[:STOPS], key=lambda pk: (habits[pk].minute, pk))]


def _round(cast: Cast, number: int, day: date, order: list[int], local: datetime, who: dict[str, Any]) -> None:
    hand = cast.people[names.HAND.username]
    one = make_round(uuid=UUID(int=number), person=hand, day=day, order=order, **who)
    if day == local.date():
        _notes(one, order[-1], who)


def _notes(one: Round, skipped: int, who: dict[str, Any]) -> None:
    """The trays are in the van already, and one stop is skipped."""
    said = {"round": one.pk, "at": who["at"]}
    trays = TickNote(id=UUID(int=FIRST_ID + 50), kind="tick", line="trays", on=True, **said)
    closed = SkipNote(id=UUID(int=FIRST_ID + 51), kind="skip", location=skipped, reason="Closed for a party", **said)
    for note in (trays, closed):
        take_note(note=note, **who)
