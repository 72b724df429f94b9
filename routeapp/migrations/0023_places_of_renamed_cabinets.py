from django.db import migrations


def name_anew(apps, schema_editor):
    """Cabinets got another code and what they hold kept the old name, which kept another cabinet from using it."""
    Place = apps.get_model("routeapp", "Place")
    for one in Place.objects.filter(machine=None, name__regex="^Cabinet [A-Z0-9-]+$"):  # where a cabinet may be called so
        one.name = f"{one.kind.title()} {one.name}"[:80]
        one.save(update_fields=["name"])
    places = [one for one in Place.objects.exclude(machine=None).select_related("machine")]
    stale = [one for one in places if one.name != f"Cabinet {one.machine.code}"]
    for name in (lambda one: f"cabinet number {one.machine_id}", lambda one: f"Cabinet {one.machine.code}"):
        for one in stale:  # first out of each other's way
            one.name = name(one)
            one.save(update_fields=["name"])


class Migration(migrations.Migration):

    dependencies = [
        ("machines", "0001_tables"),
        ("routeapp", "0022_prizes_by_meter"),
    ]

    operations = [
        migrations.RunPython(name_anew, migrations.RunPython.noop, elidable=True),
    ]
