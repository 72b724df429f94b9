import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.db.models import F


def say_who(apps, schema_editor):
    """Corrections counted for whoever wrote them; they count for whoever made the first version."""
    Visit = apps.get_model("routeapp", "Visit")
    Bag = apps.get_model("routeapp", "Bag")
    Visit.objects.filter(replaces=None).update(made_by=F("by"))
    waiting = list(Visit.objects.exclude(replaces=None).only("pk", "replaces", "by"))
    made_by = dict(Visit.objects.filter(pk__in={one.replaces for one in waiting}, replaces=None).values_list("pk", "by"))
    links = {one.pk: one for one in waiting}
    for one in waiting:
        first = one
        while first.replaces in links:
            first = links[first.replaces]
        person = made_by.get(first.replaces, first.by_id)
        Visit.objects.filter(pk=one.pk).update(made_by=person)
        Bag.objects.filter(entries__visit=one.pk).update(by=person)


class Migration(migrations.Migration):

    dependencies = [
        ("routeapp", "0023_places_of_renamed_cabinets"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="visit",
            name="made_by",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.RunPython(say_who, migrations.RunPython.noop),
    ]
