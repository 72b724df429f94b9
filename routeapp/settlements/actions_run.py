"""Issuing all that is due at once, some locations at a time, while the page that asked for it can be left."""

import logging
import threading
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid5

from django.db import OperationalError, connection, transaction

from locations.hosts.models import Contact
from locations.sites.models import Location
from routeapp.kit import audit, clock, money
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.once import same
from routeapp.settlements import queries, queries_drafts
from routeapp.settlements.actions import NUMBERS, write
from routeapp.settlements.actions_mail import send
from routeapp.settlements.models import Settlement, SettlementRun
from routeapp.settlements.queries_drafts import Draft
from routeapp.team.queries import business

AT_ONCE = 30  # locations; so many are through before a page that waits could be shown
MOST_FAILURES = 3
TRIES = 10  # each waits for as long as anybody who wants to save does
BROKEN = "This broke off before it was through. What was issued stands; issue the rest again, nothing is issued twice."
A_TURN = 100  # locations in one transaction, so that others can save in between


def start(*, uuid: UUID, until: date, send: bool, by: Any, at: datetime) -> SettlementRun:
    """Issue every draft whose days end by `until`, oldest first; the same `uuid` is one run. What waits for a bag to be
    counted is left, with why. Asked again it takes up what is left. Refuses while another run is at work."""
    with transaction.atomic():
        lock(NUMBERS)
        if made := SettlementRun.objects.filter(pk=uuid).first():
            return same(made, until=until, send=send)
        other = SettlementRun.objects.filter(ended_at=None).order_by("-told_at").first()
        if other is not None and other.is_at_work(at):
            raise Refused(f"{other} are being issued already. Wait until that is through.")
        due = _wanted(queries_drafts.due(at), until)
        run = SettlementRun.objects.create(uuid=uuid, by=by, at=at, until=until, send=send, of=len(due), told_at=at)
        audit.record("started to issue", run, by=by, at=at)
    locations = sorted({draft.location.pk for draft in due})
    if len(locations) <= AT_ONCE:
        _work(run, locations, by)
    else:
        threading.Thread(target=_work_alone, args=(run, locations, by), daemon=True).start()
    return run


def _wanted(drafts: Iterable[Draft], until: date) -> list[Draft]:
    return [draft for draft in drafts if draft.stretch.until <= until]


def _work_alone(run: SettlementRun, locations: Sequence[int], by: Any) -> None:
    try:
        money.activate(business().currency)
        _work(run, locations, by)
    except Exception:
        logging.getLogger(__name__).exception("Issuing what is due broke off")
        _break_off(run)
    finally:
        connection.close()


def _break_off(run: SettlementRun) -> None:
    """Say so in the run, as soon as the database can be written."""
    for _ in range(TRIES):
        with suppress(OperationalError), transaction.atomic():
            _tell(run, [], [[None, "All that was not reached", BROKEN]])
            SettlementRun.objects.filter(pk=run.pk).update(ended_at=clock.now())
            return


def _work(run: SettlementRun, locations: Sequence[int], by: Any) -> None:
    """A few locations at a time, each time the oldest draft of each until none is left."""
    for first in range(0, len(locations), A_TURN):
        waiting = list(locations[first : first + A_TURN])
        while waiting:
            made, waiting = _turn(run, waiting, by)
            if run.send:
                run.send = _send(run, made, by)
    SettlementRun.objects.filter(pk=run.pk).update(ended_at=clock.now())


@transaction.atomic
def _turn(run: SettlementRun, locations: Sequence[int], by: Any) -> tuple[list[Settlement], list[int]]:
    """Issue the oldest draft of each of these locations. Gives what was issued and the locations that have more."""
    lock(NUMBERS)
    at = run.at
    oldest: dict[int, Draft] = {}
    more: set[int] = set()
    for draft in _wanted(queries_drafts.due(at, locations), run.until):
        if draft.location.pk in oldest:
            more.add(draft.location.pk)
        else:
            oldest[draft.location.pk] = draft
    ready = [draft for draft in oldest.values() if not draft.missing]
    left = [draft for draft in oldest.values() if draft.missing]
    ids = {pk: uuid5(run.pk, f"{pk} {one.stretch.since}") for pk, one in oldest.items()}
    try:
        made = write(drafts=ready, ids=ids, by=by, at=at)
    except Refused as refusal:
        _tell(run, [], [[draft.location.pk, draft.location.name, refusal.message] for draft in oldest.values()])
        return [], []
    _tell(run, made, [[draft.location.pk, draft.location.name, _why(draft)] for draft in left])
    return made, sorted(more - {draft.location.pk for draft in left})


def _why(draft: Draft) -> str:
    bags = ", ".join(dict.fromkeys(bag.number for bag in draft.missing))
    return f"{draft.spoken}: bag {bags} is not counted yet"


def _tell(run: SettlementRun, made: Sequence[Settlement], left: list[list]) -> None:
    run = SettlementRun.objects.select_for_update().get(pk=run.pk)
    run.done += len(made) + len(left)
    run.issued += len(made)
    run.cents += sum(one.cents for one in made)
    run.left, run.told_at = [*run.left, *left], clock.now()
    run.save(update_fields=["done", "issued", "cents", "left", "told_at"])


def _send(run: SettlementRun, made: Sequence[Settlement], by: Any) -> bool:
    """Send what was issued to the first address of each host. Gives whether to go on: not once the server is gone."""
    addresses: dict[int, str] = {}
    hosts = dict(Location.objects.filter(pk__in=[one.location_id for one in made]).values_list("pk", "host"))
    for host, email in Contact.objects.exclude(email="").filter(host__in=hosts.values()).values_list("host", "email"):
        addresses.setdefault(host, email)
    failed = 0
    for one in made:
        address = addresses.get(hosts[one.location_id])
        if address and not queries.cannot_send(one):
            letter = send(uuid=uuid5(one.uuid, "letter"), settlement=one, to=address, by=by, at=clock.now())
            letter.refresh_from_db()
            failed = failed + 1 if letter.problem else 0
            _tell(run, [], [])
        if failed == MOST_FAILURES:
            where = [one.location_id, one.location.name, "E-mails failed several times in a row; no more were sent."]
            _tell(run, [], [where])
            return False
    return True
