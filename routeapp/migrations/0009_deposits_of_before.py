from uuid import uuid4

from django.db import migrations
from django.db.models import Exists, OuterRef

MANY = 500


def each_becomes_a_deposit(apps, schema_editor):
    """Every bag taken to the bank so far becomes a deposit of its own."""
    CashMove, BagMove, Deposit = (apps.get_model("routeapp", name) for name in ("CashMove", "BagMove", "Deposit"))
    taken_back = CashMove.objects.filter(reverses=OuterRef("pk"))
    moves = CashMove.objects.filter(~Exists(taken_back), from_purse="bag", to_purse="bank", reverses=None, source=None)
    numbers = list(moves.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(numbers), MANY):
        chunk = list(CashMove.objects.filter(pk__in=numbers[start : start + MANY]))
        for move in chunk:
            move.source = uuid4()
        Deposit.objects.bulk_create(
            Deposit(
                uuid=move.source, cents=move.cents, lines={}, at=move.at, by_id=move.by_id, received_at=move.received_at
            )
            for move in chunk
        )
        CashMove.objects.bulk_update(chunk, ["source"])
        source_of = {move.bag_id: move.source for move in chunk}
        stays = list(BagMove.objects.filter(bag__in=source_of, holder="bank", withdrawn_at=None, source=None))
        for stay in stays:
            stay.source = source_of[stay.bag_id]
        BagMove.objects.bulk_update(stays, ["source"])


class Migration(migrations.Migration):
    dependencies = [("routeapp", "0008_bank")]

    operations = [migrations.RunPython(each_becomes_a_deposit, migrations.RunPython.noop)]
