"""Visits a second through the phone's front door, against a bare view that inserts the same rows by raw SQL: into the
very same tables with all their rules, into tables with the same indexes, and into plain ones."""

import json
import threading
import time
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from statistics import median
from types import SimpleNamespace
from typing import Any

from django.db import connection

from machines.cabinets.actions import add_cabinet
from machines.cabinets.actions_meter_changes import NewMeter
from routeapp.kit import clock
from routeapp.stock import actions as stock
from routeapp.stock.models import Place, PlaceKind
from routeapp.visits.actions import record_visit
from routeapp.visits.rules_document import read
from tests import factories
from tests.bench.baselines import ROWS
from tests.bench.server import Client, served

CLIENTS, EACH, ROUNDS = 8, 25, 5
COPIES = ("indexed", "plain")
BASELINES = ("same", *COPIES)
START = datetime(2026, 1, 5, 9, tzinfo=UTC)


def run() -> Iterator[dict[str, Any]]:
    world = make_world()
    written = learn_rows(world)
    with served() as port:
        clients = [Client(port, world.person) for _ in range(CLIENTS)]
        rounds = [one_round(world, clients, number) for number in range(ROUNDS + 1)][1:]  # the first warms up
    ours = median(each["ours"] for each in rounds)
    for into in BASELINES:
        bare = median(each[into] for each in rounds)
        yield {
            "case": f"{CLIENTS} clients, {sum(written.values())} rows each, against {into} tables",
            "ours": round(ours, 1),
            "baseline": round(bare, 1),
            "ratio": round(ours / bare, 2),
            "unit": "submissions/s",
        }
    yield {"case": "rows by table", "rows": written}


def one_round(world: SimpleNamespace, clients: list[Client], number: int) -> dict[str, float]:
    """Submissions a second of ours and of the bare view into each kind of table."""
    turns = range(number * EACH + 1, (number + 1) * EACH + 1)
    papers = [[document(world, client, turn) for turn in turns] for client in range(CLIENTS)]
    addresses = {"ours": "/sync/visits/", **{into: f"/bench/rows/{into}/" for into in BASELINES}}
    return {name: rate(clients, papers, address) for name, address in addresses.items()}


def make_world() -> SimpleNamespace:
    """A location with two cabinets for each client, and a store with prizes."""
    person = factories.person("tomas", "route hand")
    store = Place.objects.create(kind=PlaceKind.STORE, name="Store")
    prizes = [factories.PrizeFactory() for _ in range(3)]
    facts = {"by": person, "at": START - timedelta(days=9), "received_at": START}
    for prize in prizes:
        supplier = stock.beyond(PlaceKind.SUPPLIER)
        stock.move(prize=prize, quantity=90_000, cost_cents=900_000, from_place=supplier, to_place=store, **facts)
    stops = [_stop(person, number, facts) for number in range(CLIENTS)]
    return SimpleNamespace(person=person, store=store, prizes=prizes, stops=stops)


def _stop(person: Any, number: int, facts: dict[str, Any]) -> SimpleNamespace:
    location, model = factories.LocationFactory(), factories.CabinetModelFactory()
    meters = [NewMeter("money_in", 6, 0, 25), NewMeter("prizes_out", 6, 0)]
    machines = [
        add_cabinet(code=f"B-{number}{place}", model=model, price_cents=100, meters=meters, **facts) for place in "ab"
    ]
    for machine in machines:
        factories.PlacementFactory(machine=machine, location=location, started_by=person)
    return SimpleNamespace(location=location, machines=machines)


def document(world: SimpleNamespace, client: int, turn: int) -> str:
    """A stop as a phone sends it: each cabinet read, emptied, its prizes counted and more loaded."""
    stop, arrived = world.stops[client], START + timedelta(hours=12 * turn)
    entries = [
        {
            "id": str(uuid.uuid4()),
            "machine": machine.pk,
            "readings": [
                {"meter": meter.pk, "value": turn * (40 if meter.counts == "money_in" else 2)}
                for meter in machine.meters.all()
            ],
            "cash": {"taken": "counted", "how": "denominations", "cents": 1000, "lines": {"c25": 40}},
            "found": [{"prize": prize.pk, "pieces": 8 * (turn > 1)} for prize in world.prizes],
            "loaded": [{"prize": prize.pk, "pieces": 2 if turn > 1 else 10} for prize in world.prizes],
        }
        for machine in stop.machines
    ]
    paper = {
        "id": str(uuid.uuid4()),
        "location": stop.location.pk,
        "arrived_at": arrived.isoformat(),
        "departed_at": (arrived + timedelta(minutes=15)).isoformat(),
        "load_from": world.store.pk,
        "loose_bag": {"id": str(uuid.uuid4()), "number": f"L-{client}-{turn}"},
        "entries": entries,
    }
    return json.dumps(paper)


def learn_rows(world: SimpleNamespace) -> dict[str, int]:
    """Record a few visits, and keep the rows of the last as the baseline's work; makes its plain tables."""
    extra = _stop(world.person, CLIENTS, {"by": world.person, "at": START - timedelta(days=9), "received_at": START})
    world.stops.append(extra)
    for turn in (1, 2):  # the first ones also make places that others find there
        record(world, document(world, CLIENTS, turn))
    before = snapshot()
    record(world, document(world, CLIENTS, 3))
    after = snapshot()
    written = {table: sorted(after[table] - before[table], key=str) for table in after if after[table] - before[table]}
    for table in written:
        make_tables(table)
    known = {table: {row[0] for row in before[table]} for table in written}
    again = {table: [unnumbered(row, known[table]) for row in rows] for table, rows in written.items()}
    ROWS.write_text(json.dumps(again, default=str))
    return {table: len(rows) for table, rows in written.items()}


def unnumbered(row: tuple, known: set) -> tuple:
    """A row that is to get a new number; one that was changed keeps its own."""
    return (None, *row[1:]) if isinstance(row[0], int) and row[0] not in known else row


def make_tables(table: str) -> None:
    """A plain and an indexed table like ours. Unique indexes are plain ones: the same rows go in again and again."""
    with connection.cursor() as cursor:
        for into in COPIES:
            cursor.execute(f"CREATE TABLE {into}_{table} AS SELECT * FROM {table} LIMIT 0")
        for number, (_, name, *_) in enumerate(cursor.execute(f"PRAGMA index_list({table})").fetchall()):
            columns = ", ".join(row[2] for row in cursor.execute(f"PRAGMA index_info({name})").fetchall())
            cursor.execute(f"CREATE INDEX indexed_{table}_{number} ON indexed_{table} ({columns})")


def record(world: SimpleNamespace, paper: str) -> None:
    record_visit(document=read(json.loads(paper)), photos={}, by=world.person, at=clock.now())


def snapshot() -> dict[str, set]:
    """Every row of every table: what a visit inserts or changes is the difference of two."""
    with connection.cursor() as cursor:
        return {
            table: set(cursor.execute(f"SELECT * FROM {table}").fetchall())
            for table in connection.introspection.table_names(cursor)
        }


def rate(clients: list[Client], papers: list[list[str]], address: str) -> float:
    """Submissions a second of all clients at once. Stops at an answer that is not 201."""
    refused: list[Any] = []

    def work(client: Client, mine: list[str]) -> None:
        for paper in mine:
            answer, body = client.post(address, "document", paper)
            if answer.status != 201:
                refused.append((answer.status, body[:500]))
                return

    threads = [threading.Thread(target=work, args=pair) for pair in zip(clients, papers, strict=True)]
    start = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    seconds = time.perf_counter() - start
    if refused:
        raise RuntimeError(f"The server refused: {refused[0]}")
    return sum(map(len, papers)) / seconds
