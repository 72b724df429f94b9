from django.db import migrations, models
from django.db.models.deletion import PROTECT


def go_by_meters(apps, schema_editor):
    """Settle what prizes meters told so far. Backwards these moves stay, as moves to players."""
    Reading = apps.get_model("machines", "Reading")
    rows = Reading.objects.filter(meter__counts="prizes_out").order_by("-at").select_related("meter")
    first = {reading.meter.machine_id: reading for reading in rows.iterator()}
    if not first:
        return
    from routeapp.kit import clock
    from routeapp.stock import actions

    for machine, reading in sorted(first.items()):
        actions.record(read={machine: reading.at}, by=reading.by, at=clock.now())


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
