"""All settlements of a month for 2,000 locations from 100,000 service entries, against plain SQL sums of the same rows:
worked out, and worked out and issued."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from statistics import median
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from django.db import connection, transaction

from locations.agreements.models import Agreement, Term
from locations.models import Location
from machines.models import Machine
from routeapp.cash.models import CashMove
from routeapp.kit.prepared import insert
from routeapp.models import Bag, Business, Settlement
from routeapp.settlements import actions, queries_drafts
from tests import factories
from tests.bench.memory import timed

LOCATIONS, VISITS, EACH = 2_000, 10, 5  # five cabinets, each emptied ten times in the month
FIRST, LAST = date(2026, 3, 1), date(2026, 3, 31)
NOW = datetime(2026, 4, 2, 9, tzinfo=ZoneInfo("UTC"))
ROUNDS = 5
PLAIN = f"""
    SELECT location_id, sum(CASE from_purse WHEN 'players' THEN cents ELSE -cents END)
    FROM routeapp_cashmove WHERE day BETWEEN '{FIRST}' AND '{LAST}' AND (from_purse = 'players' OR to_purse = 'players')
    GROUP BY location_id
"""


def run() -> Iterator[dict[str, Any]]:
    owner = factories.person("ines", "owner")
    fill(owner)
    connection.close()  # the next one brings the statistics that every connection of the product has
    cases = {"": plain, "worked out": drafts, "worked out and issued": lambda: tried(owner)}
    rounds = [
        {case: timed(work) for case, work in cases.items()} for _ in range(ROUNDS)
    ]  # side by side, as load changes
    took = {case: median(one[case][0] for one in rounds) for case in cases}
    peak = {case: max(one[case][1] for one in rounds) for case in cases}
    for case in list(cases)[1:]:
        yield {
            "case": f"{LOCATIONS:,} settlements of {LOCATIONS * VISITS * EACH:,} entries {case}",
            "ours": round(took[case] * 1000),
            "baseline": round(took[""] * 1000),
            "times": round(took[case] / took[""], 1),
            "unit": "ms",
            "peak_mb": peak[case],
            "baseline_peak_mb": peak[""],
        }
    issued(owner)
    check()


def fill(owner: Any) -> None:
    """Locations with 40 % of the take by the month, and what their cabinets brought, as visits write it."""
    Business.objects.create(pk=1, name="Lantern Rounds")
    host, model = factories.HostFactory(), factories.CabinetModelFactory()
    locations = [Location(host=host, name=f"Location {n:04}", time_zone="America/Chicago") for n in range(LOCATIONS)]
    machines = [Machine(code=f"C-{n:05}", model=model, price_cents=100) for n in range(LOCATIONS * EACH)]
    Location.objects.bulk_create(locations)
    Machine.objects.bulk_create(machines)
    who = {"by_id": owner.pk, "at": factories.LONG_AGO, "received_at": factories.LONG_AGO}
    agreed = [Agreement(location=one, starts_on=FIRST, settled="month", paid="transfer", **who) for one in locations]
    insert(agreed)
    Term.objects.bulk_create(Term(agreement=one, rate_bp=4000) for one in agreed)
    insert(moves(locations, machines, owner))


def moves(locations: list[Location], machines: list[Machine], owner: Any) -> Iterator[CashMove]:
    """The cash of each entry from the players into the box; the moves on from there are beside the point and there."""
    bag = a_bag(locations[0], owner)
    for visit in range(VISITS):
        day = FIRST + timedelta(days=visit * 3)
        at = datetime(day.year, day.month, day.day, 17, tzinfo=ZoneInfo("UTC"))
        for number, location in enumerate(locations):
            for machine in machines[number * EACH : (number + 1) * EACH]:
                entry, cents = uuid4(), 2_000 + (number * 37 + visit * 11) % 9_000
                facts = {"machine_id": machine.pk, "location_id": location.pk, "day": day, "cents": cents, "at": at}
                facts |= {"entry": entry, "source": entry, "by_id": owner.pk, "received_at": at}
                yield CashMove(from_purse="players", to_purse="box", **facts)
                yield CashMove(from_purse="box", to_purse="bag", bag_id=bag, **facts)


def a_bag(location: Location, owner: Any) -> int:
    facts = {"by": owner, "at": factories.LONG_AGO, "received_at": factories.LONG_AGO}
    return Bag.objects.create(uuid=uuid4(), number="B-1", location=location, **facts).pk


def plain() -> list[tuple]:
    with connection.cursor() as cursor:
        return list(cursor.execute(PLAIN).fetchall())


def drafts() -> list[Any]:
    return queries_drafts.due(NOW)


@transaction.atomic
def tried(owner: Any) -> None:
    """Issued, and taken back for the next round."""
    issued(owner)
    transaction.set_rollback(True)


@transaction.atomic
def issued(owner: Any) -> None:
    found = drafts()
    actions.write(drafts=found, ids={one.location.pk: uuid4() for one in found}, by=owner, at=NOW)


def check() -> None:
    """Each paper gives 40 % of what plain SQL adds up, half up."""
    wanted = {location: (cents * 4 + 5) // 10 for location, cents in plain()}
    if dict(Settlement.objects.values_list("location", "cents")) != wanted:
        raise RuntimeError("The settlements and plain SQL disagree.")
