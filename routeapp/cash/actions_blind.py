"""Two people count a bag without seeing each other's figure."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from routeapp.cash.actions import LARGEST_AMOUNT, count_bag
from routeapp.cash.models import Bag, BagCount, BlindCount, How
from routeapp.cash.queries_counts import waiting
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.kit.once import same


@transaction.atomic
def count_blind(
    *, uuid: UUID, bag: Bag, how: How, cents: int, lines: dict[str, int], by: Any, at: datetime, received_at: datetime
) -> BagCount | None:
    """Note what one of two people found. Once both found the same it is the bag's count; until then nothing holds.

    A person who counts again takes back what they found before; the same `uuid` again changes nothing. Refuses
    amounts too large to be meant.
    """
    if not 0 <= cents <= LARGEST_AMOUNT:
        raise Refused("That amount is too large to be meant.", "sum")
    bag = Bag.objects.select_for_update().get(pk=bag.pk)
    if known := BlindCount.objects.filter(uuid=uuid).first():
        return same(known, bag=bag, cents=cents, lines=lines).settled_by
    waiting(bag).filter(by=by).update(withdrawn_at=received_at, withdrawn_by=by)
    said = {"bag": bag, "how": how, "cents": cents, "lines": lines}
    BlindCount.objects.create(uuid=uuid, by=by, at=at, received_at=received_at, **said)
    audit.record("counted for themselves", bag, by=by, at=received_at)
    other = waiting(bag).exclude(by=by).filter(cents=cents).select_related("by").first()
    if other is None:
        return None
    note = "Both counted for themselves and found the same."
    return count_bag(uuid=uuid, **said, note=note, second=other.by, by=by, at=at, received_at=received_at)
