"""When the price of cabinets changed, and how hard it is to win: what was seen before tells less about what comes."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import F, Q

from machines.cabinets.models import Counts, Meter, SettingsChange

PRICE = "credits_per_coin"
SETTINGS = (PRICE, "grip_strength", "payout_target")


@dataclass
class Changes:
    """Of one cabinet: when its price changed, and when grip or payout were last turned."""

    repriced: list[datetime] = field(default_factory=list)
    turned: datetime | None = None


def changes(machine_ids: Collection[int], since: datetime, until: datetime) -> dict[int, Changes]:
    """By machine id. The price per play is what a plays meter carries; what a coin gives is as good as a price."""
    found: dict[int, Changes] = defaultdict(Changes)
    settings = SettingsChange.objects.live().filter(machine__in=machine_ids, at__lte=until).order_by("at", "pk")
    stood: dict[tuple[int, str], int] = {}  # what is written down as it stood is no change; nor is what is said first
    for one in settings.values("machine", "at", *SETTINGS):
        machine, at = one["machine"], one["at"]
        said = {name: one[name] for name in SETTINGS if one[name] is not None}
        changed = {name for name, value in said.items() if stood.get((machine, name), value) != value}
        stood |= {(machine, name): value for name, value in said.items()}
        if at >= since and PRICE in changed:
            found[machine].repriced.append(at)
        if at >= since and changed - {PRICE}:
            found[machine].turned = at
    meters = Meter.objects.filter(machine__in=machine_ids, counts=Counts.PLAYS, installed_at__range=(since, until))
    meters = meters.exclude(Q(replaces=None) | Q(value_cents=F("replaces__value_cents")))
    for machine, at in meters.order_by("installed_at").values_list("machine", "installed_at"):
        found[machine].repriced.append(at)
    for each in found.values():
        each.repriced.sort()
    return found
