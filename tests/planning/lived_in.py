"""A planned world for tests that open every page: who drives, a plan, a round, a pin, a calendar address."""

from datetime import time, timedelta
from decimal import Decimal
from uuid import UUID

from machines.cabinets.models import Machine
from routeapp.kit import clock
from routeapp.planning import actions_calendar, actions_crew, actions_plan, actions_rounds
from routeapp.planning.actions_due import note_to_do, promise
from routeapp.planning.actions_order import order_prizes
from routeapp.planning.models_rounds import Driver
from routeapp.stock.models import Prize

PLACE = {"start_name": "Boathouse", "start_latitude": Decimal("41.9"), "start_longitude": Decimal("-87.6")}


def planned(owner, location):
    """What stands in the addresses of rounds, by the name of the page."""
    now = clock.now()
    day, who = now.date() + timedelta(days=1), {"by": owner, "at": now}
    location.latitude, location.longitude = Decimal("41.92"), Decimal("-87.6")
    location.save()
    van = actions_crew.save_vehicle(vehicle=None, name="Blue van", pieces=800, cents_per_km=40, **who)
    shifts = {weekday: (time(8), time(16)) for weekday in range(7)}
    actions_crew.save_driver(person=owner, hours=shifts, vehicle=van, cents_per_hour=2400, **PLACE, **who)
    pin = actions_crew.pin(location=location, wish="must", day=day, reason="Promised", **who)
    asked = {"first_day": day, "days": 1, "vary_cents": 0, "seconds": 1}
    plan = actions_plan.start(uuid=UUID(int=81), drivers=list(Driver.objects.all()), **asked, **who)
    one = actions_rounds.make_round(uuid=UUID(int=82), person=owner, day=day, order=[location.pk], **who)
    link = actions_calendar.make_link(person=owner, **who)
    promise(location=location, every_days=9, **who)
    to_do = note_to_do(uuid=UUID(int=83), location=location, errand="bring", text="New sign", **who)
    prize = Prize.objects.first() or Prize.objects.create(name="Plush otter")
    order = order_prizes(uuid=UUID(int=84), supplier=prize.supplier, lines=[(prize, 20)], **who)
    machine = Machine.objects.order_by("pk").first()
    rounds = ("round", "round-change", "round-replan", "round-drop", "round-sheet", "round-load", "round-tick")
    return {
        **dict.fromkeys((*rounds, "round-end", "sync-round"), {"uuid": one.pk}),
        **dict.fromkeys(("round-skip", "round-unskip"), {"uuid": one.pk, "pk": location.pk}),
        **dict.fromkeys(("plan", "plan-use"), {"uuid": plan.pk}),
        **dict.fromkeys(("crew-edit", "calendar-make", "calendar-revoke"), {"pk": owner.pk}),
        **dict.fromkeys(("crew", "pins", "plan-start", "rounds", "calendar", "vehicle-add"), {}),
        **dict.fromkeys(("due-place", "to-do-add", "promise", "promise-away"), {"pk": location.pk}),
        **dict.fromkeys(("due", "reorder"), {}),
        "to-do-done": {"pk": to_do.pk},
        "order-withdraw": {"pk": order.pk},
        "cabinet-forecast": {"code": machine.code if machine else "C1"},
        "vehicle-edit": {"pk": van.pk},
        "pin-lift": {"pk": pin.pk},
        "calendar-feed": {"token": link.token},
    }
