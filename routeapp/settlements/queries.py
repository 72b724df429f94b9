"""Reads about issued settlements: what hosts are owed, how each paper stands, who may look at a statement."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from django.conf import settings
from django.db.models import (
    Case,
    Exists,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce, Greatest, Least

from locations.hosts.models import Host
from locations.sites.models import Location
from routeapp.cash.models import CashMove, OfHosts, Purse
from routeapp.cash.queries import in_and_out
from routeapp.kit.prepared import Many, Prepared
from routeapp.settlements.models import Remittance, Settlement, SettlementLine, StatementLink


def host_moves() -> QuerySet:
    """What hosts were paid, and what was taken back of it or what they paid for us."""
    return CashMove.objects.filter(OfHosts()).order_by()


def live() -> QuerySet:
    return Settlement.objects.filter(withdrawn_at=None)


# All that were ever issued: without what is only printed.
ISSUED = Prepared(
    lambda ids: Settlement.objects.filter(location__in=ids).order_by("until", "pk").defer("terms", "remarks", "reason"),
    list,
)


def settled(locations: Mapping[int, Location]) -> tuple[dict[int, list[Settlement]], dict[int, list[Settlement]]]:
    """The settlements that hold, and those void that none replaces yet, by location."""
    holding: dict[int, list[Settlement]] = defaultdict(list)
    void: dict[int, list[Settlement]] = defaultdict(list)
    for row in ISSUED(list(locations)):
        row.location = locations[row.location_id]
        (void if row.withdrawn_at else holding)[row.location_id].append(row)
    replaced = {row.replaces_id for each in (*holding.values(), *void.values()) for row in each}
    return holding, {pk: [row for row in each if row.pk not in replaced] for pk, each in void.items()}


def issued_cents(locations: Iterable[int]) -> dict[int, int]:
    """The sum of the settlements that hold, by location id."""
    rows = live().filter(location__in=Many(locations)).order_by().values_list("location")
    return dict(rows.annotate(all=Sum("cents")))


def paid_cents(locations: Iterable[int]) -> dict[int, int]:
    """What hosts were paid, by location id: in cash at visits and by any other way."""
    rows = host_moves().filter(location__in=Many(locations)).values_list("location")
    return dict(rows.annotate(all=in_and_out(Purse.HOST)))


def owed_cents(locations: Iterable[int]) -> dict[int, int]:
    """What hosts are owed, by location id: issued less paid. Below zero: paid ahead, or too much."""
    ids = list(locations)
    issued, paid = issued_cents(ids), paid_cents(ids)
    return {pk: issued.get(pk, 0) - paid.get(pk, 0) for pk in ids}


def held_in(purse: Purse) -> int:
    """What lies in a purse by all moves."""
    moves = CashMove.objects.filter(Q(from_purse=purse) | Q(to_purse=purse))
    return moves.aggregate(all=in_and_out(purse))["all"]


def unlisted_payments(locations: Iterable[int]) -> QuerySet:
    """Moves to and from hosts that no settlement that holds has taken off yet, oldest first."""
    listed = Settlement.payments.through.objects.filter(cashmove=OuterRef("pk"), settlement__withdrawn_at=None)
    rows = host_moves().filter(~Exists(listed), location__in=Many(locations))
    return rows.select_related("bag").order_by("day", "pk")


def closing_cents(locations: Iterable[int]) -> dict[int, int]:
    """What was open after the last paper, by location id: issued less what those papers took off."""
    rows = live().filter(location__in=Many(locations)).order_by().values_list("location")
    return dict(rows.annotate(all=Sum(F("cents") - F("paid_cents"))))


def settlements() -> QuerySet:
    """Every settlement with `open_cents`: what of it is not paid yet, the oldest being paid first."""
    before = live().filter(location=OuterRef("location"), until__lte=OuterRef("until")).order_by().values("location")
    paid = host_moves().filter(location=OuterRef("location")).values("location").annotate(all=in_and_out(Purse.HOST))
    up_to = Subquery(before.annotate(all=Sum("cents")).values("all"), output_field=IntegerField())
    so_far = Coalesce(Subquery(paid.values("all"), output_field=IntegerField()), 0)
    rest = Greatest(Value(0), Least(F("cents"), F("up_to") - F("so_far")))
    rows = Settlement.objects.exclude(number=None).select_related("location__host", "by", "withdrawn_by", "replaces")
    return rows.annotate(up_to=up_to, so_far=so_far).annotate(
        open_cents=Case(When(withdrawn_at=None, then=rest), default=0, output_field=IntegerField())
    )


def state_of(settlement: Any) -> tuple[str, str]:
    """How a row of `settlements` stands, in a word, and the shape of that."""
    if settlement.withdrawn_at:
        return "void", "none"
    if not settlement.open_cents:
        return ("paid" if settlement.cents > 0 else "nothing to pay"), "good"
    return ("partly paid" if settlement.open_cents < settlement.cents else "to be paid"), "warn"


def adjusted(settlement: Settlement) -> QuerySet:
    """The lines of later settlements that adjust this one."""
    lines = SettlementLine.objects.filter(adjusts=settlement, settlement__withdrawn_at=None)
    return lines.select_related("settlement").order_by("settlement__number")


def latest(location: Location) -> Settlement | None:
    """The settlement that holds whose days are the last."""
    return live().filter(location=location).order_by("-until").first()


def words_of(move: CashMove, means: dict[Any, str]) -> str:
    """How money came to the host, or away from them, in words; `means` of payments by their id."""
    if move.reverses_id:
        return "Taken back"
    if move.from_purse == Purse.HOST:
        return "Refund the host paid to a player" if move.to_purse == Purse.REFUNDS else "Given back"
    return means.get(move.source) or ("In cash at the visit" if move.from_purse == Purse.BAG else "Paid")


def means_of(moves: Iterable[CashMove]) -> dict[Any, str]:
    """How each payment was made, by its id, with its note."""
    rows = Remittance.objects.filter(uuid__in={move.source for move in moves if move.source})
    return {row.uuid: f"{row.get_means_display()}{f', {row.note}' if row.note else ''}" for row in rows}


def statement_host(code: str) -> Host | None:
    """Whose statement a code opens, while its link holds."""
    link = StatementLink.objects.live().filter(code=code).select_related("host").first()
    return link.host if link else None


def link_of(host: Host) -> StatementLink | None:
    return StatementLink.objects.live().filter(host=host).first()


def owing(ids: Iterable[int] | None = None) -> list[tuple[Location, int]]:
    """Locations whose hosts are owed something, or were paid too much, the largest sum first."""
    settled = Exists(Settlement.objects.filter(location=OuterRef("pk")))
    rows = Location.objects.select_related("host").filter(settled | Q(closed_on=None))
    found = {row.pk: row for row in (rows if ids is None else rows.filter(pk__in=list(ids)))}
    owed = owed_cents(found)
    return sorted(((found[pk], cents) for pk, cents in owed.items() if cents), key=lambda one: (-one[1], one[0].name))


def owed_in_all() -> dict[str, int]:
    """What all hosts together are owed, at how many locations, and what others were paid ahead."""
    owing_cents = [cents for _, cents in owing()]
    owed = [cents for cents in owing_cents if cents > 0]
    return {"owed": sum(owed), "many": len(owed), "ahead": sum(owed) - sum(owing_cents)}


def cannot_send(settlement: Settlement) -> str:
    """Why a settlement cannot go by e-mail, as a sentence; empty when it can."""
    if settlement.withdrawn_at:
        return f"{settlement} is void. Send the one that replaces it."
    if not is_set_up():
        return "No mail server is set up. Print the paper or save it as PDF; .env.example says how to set one up."
    return ""


def is_set_up() -> bool:
    """Whether there is a mail server, and an address of ours."""
    return bool(settings.EMAIL_HOST and settings.DEFAULT_FROM_EMAIL)
