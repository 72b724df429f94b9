from collections import defaultdict
from itertools import islice

from django.db import migrations, models
from django.db.models.deletion import PROTECT


TOGETHER = 100  # cabinets, as what prizes cost is worked out anew for all of them at once


def go_by_meters(apps, schema_editor):
    """Settle what prizes meters told so far. Backwards these moves stay, as moves to players."""
    Reading = apps.get_model("machines", "Reading")
    rows = Reading.objects.filter(meter__counts="prizes_out").order_by("-at").select_related("meter", "by")
    first = {reading.meter.machine_id: reading for reading in rows.iterator()}
    if not first:
        return
    from routeapp.kit import clock
    from routeapp.stock import actions

    read_by = defaultdict(dict)
    for machine, reading in sorted(first.items()):
        read_by[reading.by][machine] = reading.at
    for person, since in read_by.items():
        left = iter(since.items())
        while some := dict(islice(left, TOGETHER)):
            actions.record(read=some, by=person, at=clock.now())


class Migration(migrations.Migration):
    dependencies = [("machines", "0009_sold_for"), ("routeapp", "0021_bags_by_moment")]

    operations = [
        migrations.AddField(
            "stockmove",
            "metered",
            models.ForeignKey("machines.reading", PROTECT, db_index=False, null=True, related_name="+"),
        ),
        migrations.RunPython(go_by_meters, migrations.RunPython.noop),
    ]
