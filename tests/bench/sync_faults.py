"""Eight phones send visits over a bad line to a server that is killed again and again: nothing lost, nothing twice.

What the database holds afterwards is compared with what the same visits leave when they are recorded one after
another without any trouble.
"""

import hashlib
import http.client
import io
import json
import os
import random
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django.contrib.admin.models import LogEntry
from django.db import connection, models, transaction
from django.db.models import Q

from machines.models import Fault, FaultFix, Reading, SettingsChange
from routeapp.kit import pictures
from routeapp.management.commands.test import postgresql
from routeapp.models import CashMove, HostPayment, Photo, Sealed, ServiceEntry, StockCount, StockMove, Visit
from tests import factories
from tests.bench.bad_line import bad_line
from tests.bench.server import Client, Server
from tests.bench.sync_papers import EDGE, Paper, papers
from tests.visits.books import make_world, record, snapshot

FACTS = (Reading, SettingsChange, Fault, FaultFix, Sealed, StockCount)
VISITS, KILLS, PHONES, SEED = 2_000, 20, 8, 20_260_302
PATIENCE = 3.0  # seconds that a phone waits for an answer
AT_HAND = 6  # unsent visits that a phone chooses from, so that they arrive out of order


def run(visits: str = f"{VISITS}", kills: str = f"{KILLS}") -> Iterator[dict[str, Any]]:
    """On the database that the environment names; when it names none, on SQLite and then on a fresh PostgreSQL."""
    yield once(int(visits), int(kills))
    if "DATABASE_URL" not in os.environ:
        with postgresql() as url:
            command = [sys.executable, "-m", "tests.bench", "sync_faults", visits, kills]
            again = subprocess.run(command, env=os.environ | {"DATABASE_URL": url}, stdout=subprocess.PIPE, check=True)
        yield from map(json.loads, again.stdout.splitlines())


def once(visits: int, kills: int) -> dict[str, Any]:
    """Send so many visits while the server is killed so many times, and say how it ended."""
    dice = random.Random(SEED)
    world = make_world(factories.person("ines", "owner"))
    people = [factories.person(f"phone{number}", "route hand") for number in range(PHONES)]
    sent = papers(world, visits, PHONES, dice)
    clean = without_trouble(world, sent, people)
    start = time.monotonic()
    faults, refused = with_trouble(sent, people, kills, dice)
    rows = rows_by_source()
    return {
        "engine": connection.vendor,
        "visits": Visit.objects.filter(pk__in=[paper.raw["id"] for paper in sent]).count(),
        "faults": sum(faults.values()),
        "kills": kills,
        "lost": sum((clean["rows"] - rows).values()),
        "doubled": sum((rows - clean["rows"]).values()),
        "books_equal": books(world) == clean["books"],
        "by_fault": dict(sorted(faults.items())),
        "answered_otherwise": refused,
        "seconds": round(time.monotonic() - start),
    }


class UndoError(Exception):
    pass


def without_trouble(world: Any, sent: list[Paper], people: list[Any]) -> dict[str, Any]:
    """Books and rows after recording all of it in order; the database is left as it was."""
    found: dict[str, Any] = {}
    try:
        with transaction.atomic():
            for paper in sent:
                record(world, paper.raw, cleaned(paper.photos), by=people[paper.phone])
            found = {"books": books(world), "rows": rows_by_source()}
            raise UndoError
    except UndoError:
        return found


def cleaned(photos: dict[str, bytes]) -> dict[UUID, bytes]:
    return {UUID(photo): pictures.clean(io.BytesIO(content), len(content)) for photo, content in photos.items()}


def books(world: Any) -> dict[str, Any]:
    """What a person could read: the books, and each visit as it stands with what its photos show."""
    visits = Visit.objects.values_list("pk", "fingerprint", "by", "replaces", Q(withdrawn_at=None))
    photos = {photo.pk: hashlib.sha256(photo.file.read()).hexdigest() for photo in Photo.objects.all()}
    return snapshot(world) | {"visits": set(visits), "photos": photos}


def rows_by_source() -> Counter[tuple]:
    """How many rows of each kind each document brought, without those that follow from the order of arrival."""
    plain = {"reverses": None}
    moves = [CashMove.objects.filter(**plain), StockMove.objects.filter(**plain, settles=None)]
    facts: list[models.QuerySet] = [fact.objects.all() for fact in (*FACTS, Visit)]
    found = Counter((rows.model.__name__, source) for rows in (*facts, *moves) for source in _each(rows, "source"))
    for rows, name in ((ServiceEntry, "visit"), (Photo, "entry"), (HostPayment, "visit"), (LogEntry, "object_id")):
        found.update((rows.__name__, one) for one in _each(rows.objects.all(), name))
    return found


def _each(rows: models.QuerySet, name: str) -> models.QuerySet:
    return rows.order_by().values_list(name, flat=True)


def with_trouble(
    sent: list[Paper], people: list[Any], kills: int, dice: random.Random
) -> tuple[Counter[str], Counter[str]]:
    """Let every phone send what is its own, and kill the server at even steps of what has arrived.

    Returns what the line did, and how often each answer came that was neither 200 nor 201.
    """
    server = Server()
    try:
        with bad_line(server.port, SEED) as (line, port):
            phones = [
                Phone(
                    port,
                    Client(server.port, person).headers,
                    [one for one in sent if one.phone == number],
                    dice.random(),
                )
                for number, person in enumerate(people)
            ]
            for phone in phones:
                phone.start()
            for kill in range(1, kills + 1):
                wait_until(phones, kill * len(sent) // (kills + 1))
                time.sleep(dice.uniform(0, 0.1))
                server.kill()
                server.start()
            for phone in phones:
                phone.join()
            return line.faults, sum((phone.answers for phone in phones), Counter())
    finally:
        server.kill()


def wait_until(phones: list["Phone"], arrived: int) -> None:
    while sum(phone.arrived for phone in phones) < arrived:
        time.sleep(0.005)


class Phone(threading.Thread):
    """Sends its visits until each is answered with its own id; everything else is tried again."""

    def __init__(self, line: int, headers: dict[str, str], unsent: list[Paper], seed: float) -> None:
        super().__init__(daemon=True)
        self.line, self.headers, self.unsent, self.dice = line, headers, unsent, random.Random(seed)
        self.arrived = 0
        self.answers: Counter[str] = Counter()  # those that were no yes

    def run(self) -> None:
        while self.unsent:
            place = self.dice.randrange(min(AT_HAND, len(self.unsent)))
            if self.sends(self.unsent[place]):
                self.unsent.pop(place)
                self.arrived += 1
            else:
                time.sleep(self.dice.uniform(0.02, 0.3))

    def sends(self, paper: Paper) -> bool:
        """Whether the server said that it has this visit."""
        try:
            status, body = self.post(paper)
            told = json.loads(body)
        except (OSError, http.client.HTTPException, ValueError):
            return False
        if status in (200, 201):
            return told["id"] == paper.raw["id"]
        self.answers[f"{status} {told.get('errors', '')}"] += 1
        return False

    def post(self, paper: Paper) -> tuple[int, bytes]:
        connection = http.client.HTTPConnection("127.0.0.1", self.line, timeout=PATIENCE)
        try:
            kind = {"Content-Type": f"multipart/form-data; boundary={EDGE}"}
            connection.request("POST", "/sync/visits/", paper.body(), self.headers | kind | {"Connection": "close"})
            answer = connection.getresponse()
            return answer.status, answer.read()
        finally:
            connection.close()
