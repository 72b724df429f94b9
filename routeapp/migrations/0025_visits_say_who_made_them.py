import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    """By itself: PostgreSQL does not alter a table in the transaction that filled it."""

    dependencies = [
        ("routeapp", "0024_visits_made_by"),
    ]

    operations = [
        migrations.AlterField(
            model_name="visit",
            name="made_by",
            field=models.ForeignKey(
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
    ]
