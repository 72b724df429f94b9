from django.conf import settings
from django.db import migrations, models
from django.db.models import Q


def forget_the_clock_in_documents(apps, schema_editor):
    """What the phone's clock showed comes beside the document now, and a document may hold nothing unknown."""
    visits = apps.get_model("routeapp", "Visit").objects.filter(document__has_key="device_at")
    for visit in visits.only("document").iterator():
        del visit.document["device_at"]
        visit.save(update_fields=["document"])


class Migration(migrations.Migration):
    dependencies = [
        ("routeapp", "0004_sheet_imports"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField("visit", "doubtful", models.BooleanField(default=False, verbose_name="times in doubt")),
        migrations.CreateModel(
            "TimesKept",
            [
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                ("by", models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")),
                ("visit", models.OneToOneField("routeapp.visit", models.CASCADE, related_name="times_kept")),
            ],
        ),
        migrations.AddIndex(
            "visit", models.Index(fields=["-at"], condition=Q(doubtful=True), name="visit_times_in_doubt")
        ),
        migrations.RunPython(forget_the_clock_in_documents, migrations.RunPython.noop),
    ]
