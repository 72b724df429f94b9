"""Issuing settlements, making them void, paying hosts, and the link under which a host may look."""

import secrets
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import Max

from locations.hosts.models import Host
from locations.sites.models import Location
from routeapp.cash import actions as cash
from routeapp.cash.models import CashMove, Purse
from routeapp.kit import audit, clock
from routeapp.kit.errors import Refused
from routeapp.kit.locks import lock
from routeapp.kit.money import as_text
from routeapp.kit.once import same
from routeapp.kit.prepared import insert, insert_plain, row
from routeapp.settlements import queries, queries_drafts, queries_late
from routeapp.settlements.models import Means, Remittance, Settlement, SettlementLine, StatementLink
from routeapp.settlements.queries_drafts import EVER, Draft
from routeapp.team.queries import business

NUMBERS = "numbers of settlements"
BEFORE = UUID("4b8f0d5e-2f0c-4d0a-9d52-1c7a4a6f4c11")  # makes the ids of what was settled before


@transaction.atomic
def issue(
    *, uuid: UUID, location: Location, since: date, seen_cents: int, although: bool = False, by: Any, at: datetime
) -> Settlement:
    """Freeze the draft of a location that starts on a day, and give it the next number; the same `uuid` is one.

    `seen_cents` is the sum the person saw; `although` says that bags nobody counted may wait for the next one.
    Refuses days that are not over or were issued before, figures that changed meanwhile, and uncounted bags.
    """
    lock(NUMBERS)
    if made := Settlement.objects.filter(uuid=uuid).first():
        return made
    Location.objects.select_for_update().get(pk=location.pk)
    draft = queries_drafts.draft(location, since, at)
    if draft is None:
        raise Refused(_why_not(location, since))
    if not draft.is_over:
        raise Refused(f"These days are not over. They can be settled after {draft.stretch.until:%-d %B %Y}.")
    if draft.cents != seen_cents:
        said = f"Something came in meanwhile: it is {as_text(draft.cents)} now, not {as_text(seen_cents)}."
        raise Refused(f"{said} Look again; nothing was issued.")
    if draft.missing and not although:
        raise Refused("A bag of these days is not counted yet. Count it first, or say that it may wait.", "although")
    return write(drafts=[draft], ids={draft.location.pk: uuid}, by=by, at=at)[0]


def _why_not(location: Location, since: date) -> str:
    other = queries.live().filter(location=location, since__lte=since, until__gte=since).first()
    if other is not None:
        return f"{other} was issued for these days already. Nothing was issued twice."
    return "No settlement of this location starts on that day. Its terms may have changed; look at the drafts again."


def write(*, drafts: Sequence[Draft], ids: Mapping[int, UUID], by: Any, at: datetime) -> list[Settlement]:
    """Write drafts down as issued, one of each location; `ids` by location. The caller holds NUMBERS.

    Refuses where earlier ones were in another currency than the business's.
    """
    code = business().currency
    other = Settlement.objects.exclude(currency=code).first()
    if other is not None:
        said = f"{other} is in {other.currency} and the business counts in {code}."
        raise Refused(f"{said} Amounts of two currencies do not add up; nothing was issued.")
    number = Settlement.objects.aggregate(last=Max("number"))["last"] or 0
    seen = queries_late.seen_until(at)
    made = [
        _settlement(draft, ids[draft.location.pk], number + place, code, seen, by, at)
        for place, draft in enumerate(drafts, 1)
    ]
    insert(made)
    lines: list[dict[str, Any]] = []
    paid: list[dict[str, Any]] = []
    for one, draft in zip(made, drafts, strict=True):
        lines += _lines(one, draft)
        paid += [{"settlement_id": one.pk, "cashmove_id": move.pk} for move in draft.payments]
    insert_plain(SettlementLine, lines)
    insert_plain(Settlement.payments.through, paid)
    audit.record_all("issued", made, by=by, at=at)
    return made


def _settlement(draft: Draft, uuid: UUID, number: int, code: str, seen: int, by: Any, at: datetime) -> Settlement:
    return row(
        Settlement,
        uuid=uuid,
        number=number,
        location_id=draft.location.pk,
        since=draft.stretch.since,
        until=draft.stretch.until,
        currency=code,
        cents=draft.cents,
        carried_cents=draft.carried,
        paid_cents=draft.paid,
        terms="\n".join(draft.terms),
        remarks=draft.remarks,
        moves_until=seen,
        replaces_id=draft.replaces and draft.replaces.pk,
        at=at,
        by_id=by.pk,
        received_at=at,
    )


def _lines(settlement: Settlement, draft: Draft) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = [
        {
            "kind": line.kind,
            "words": line.words,
            "machine_id": part.deal.machine,
            "since": part.stretch.since,
            "until": part.stretch.until,
            "base_cents": line.base_cents,
            "rate": str(line.rate),
            "cents": line.cents,
        }
        for part in draft.parts
        for line in part.lines
    ]
    found += [
        {
            "kind": "adjustment",
            "words": one.words,
            "since": one.settlement.since,
            "until": one.settlement.until,
            "base_cents": one.cents,
            "rate": "1",
            "cents": one.cents,
            "adjusts_id": one.settlement.pk,
            "late": [[str(pk), text] for pk, text in one.late],
        }
        for one in draft.adjustments
    ]
    return [{"settlement_id": settlement.pk, "place": place, **line} for place, line in enumerate(found, 1)]


@transaction.atomic
def void(*, settlement: Settlement, reason: str, by: Any, at: datetime) -> None:
    """Make an issued settlement void. It keeps its number and stays readable; its days become a draft again, and what
    it adjusted too. Refuses without a reason, and while one that holds adjusts it; a second time changes nothing."""
    if not reason.strip():
        raise Refused("Say why it is void. The host may ask.", "reason")
    lock(NUMBERS)
    if later := SettlementLine.objects.filter(adjusts=settlement, settlement__withdrawn_at=None).first():
        raise Refused(f"Settlement {later.settlement.number} adjusts this one. Make that one void first.")
    marks = {"withdrawn_at": at, "withdrawn_by": by, "reason": reason.strip()[:300]}
    if queries.live().filter(pk=settlement.pk).update(**marks):
        audit.record("made void", settlement, by=by, at=at)


@transaction.atomic
def settled_before(*, until: date, by: Any, at: datetime) -> int:
    """Say that all hosts were settled with up to a day before Keyround did it: what they were paid until then is what
    they were owed. Gives for how many locations. Refuses days that are not over, and once settlements were issued."""
    lock(NUMBERS)
    if Settlement.objects.exists():
        raise Refused("Settlements were issued already. The days before them are drafts; issue those or leave them.")
    found = list(Location.objects.select_for_update())
    if not found:
        raise Refused("There is no location yet.", "until")
    if any(until >= clock.local_day(at, location.time_zone) for location in found):
        raise Refused("That day is not over yet.", "until")
    for location in found:
        _settle_before(location, until, by, at)
    audit.record(f"said that hosts were settled with up to {until}", business(), by=by, at=at)
    return len(found)


def _settle_before(location: Location, until: date, by: Any, at: datetime) -> None:
    paid = [move for move in queries.unlisted_payments([location.pk]) if move.day <= until]
    cents = sum(queries_drafts.signed(move) for move in paid)
    made = Settlement.objects.create(
        uuid=uuid5(BEFORE, str(location.pk)),
        location=location,
        since=EVER.since,
        until=until,
        currency=business().currency,
        cents=cents,
        paid_cents=cents,
        moves_until=queries_late.seen_until(at),
        by=by,
        at=at,
        received_at=at,
    )
    made.payments.add(*paid)


FROM = {Means.TRANSFER: Purse.BANK, Means.CHEQUE: Purse.BANK, Means.OWN: Purse.OWNER, Means.CREDIT: Purse.COSTS}


@transaction.atomic
def pay(
    *,
    uuid: UUID,
    location: Location,
    means: str,
    cents: int,
    day: date,
    note: str = "",
    although: bool = False,
    by: Any,
    at: datetime,
) -> Remittance:
    """Note what a host was paid besides visits; the same `uuid` is one. `although` says that more than is owed, or
    more than the books have at the bank, was paid all the same; then a note must say why. Refuses both else, and a day
    to come."""
    location = Location.objects.select_for_update().get(pk=location.pk)
    facts: dict[str, Any] = {"location": location, "cents": cents, "day": day}
    if made := Remittance.objects.filter(uuid=uuid).first():
        return same(made, means=means, note=note, **facts)
    if day > clock.local_day(at, location.time_zone):
        raise Refused("That day is still to come.", "day")
    if doubt := _doubt(location, means, cents):
        if not although:
            raise Refused(f"{doubt} If that is right, say so below.", "although")
        if not note:
            raise Refused(f"{doubt} Say in the note why, so that it can be understood later.", "note")
    made = Remittance.objects.create(uuid=uuid, means=means, note=note, **facts, by=by, at=at, received_at=at)
    moment = clock.start_of_day(day, location.time_zone)
    move = CashMove(from_purse=FROM[Means(means)], to_purse=Purse.HOST, source=uuid, at=moment, reason=note, **facts)
    cash.append(moves=[move], by=by, at=at)
    audit.record(f"paid {as_text(cents)} to the host of", location, by=by, at=at)
    return made


def _doubt(location: Location, means: str, cents: int) -> str:
    """Why a payment may be wrong; empty when nothing speaks against it."""
    owed = queries.owed_cents([location.pk])[location.pk]
    if cents > owed:
        over = cents - max(0, owed)
        return f"They are owed {as_text(max(0, owed))}, so this is {as_text(over)} too much or paid ahead."
    at_bank = queries.held_in(Purse.BANK)
    if FROM[Means(means)] == Purse.BANK and cents > at_bank:
        return f"The books have only {as_text(at_bank)} at the bank."
    return ""


@transaction.atomic
def withdraw_payment(*, payment: Remittance, by: Any, at: datetime) -> None:
    """Take back a payment that was written down wrongly: its money goes back to where it came from. Refuses one that a
    row of the bank's statement is matched to."""
    if Remittance.objects.live().filter(pk=payment.pk).update(withdrawn_at=at, withdrawn_by=by):
        cash.take_back(sources=[payment.uuid], by=by, at=at)
        audit.record("withdrew a payment to the host of", payment.location, by=by, at=at)


CODE_BYTES = 16  # 128 bits


@transaction.atomic
def open_statement(*, host: Host, by: Any, at: datetime) -> StatementLink:
    """Make the link under which a host may look at its settlements; there is one at a time, which is given again."""
    Host.objects.select_for_update().get(pk=host.pk)
    if link := queries.link_of(host):
        return link
    code = secrets.token_urlsafe(CODE_BYTES)
    link = StatementLink.objects.create(host=host, code=code, by=by, at=at, received_at=at)
    audit.record("opened the statement page for", host, by=by, at=at)
    return link


@transaction.atomic
def close_statement(*, link: StatementLink, by: Any, at: datetime) -> None:
    """Withdraw a link: whoever has it sees nothing any more."""
    if StatementLink.objects.live().filter(pk=link.pk).update(withdrawn_at=at, withdrawn_by=by):
        audit.record("closed the statement page for", link.host, by=by, at=at)
