from django.db import migrations, models
from django.db.models.deletion import PROTECT


class Migration(migrations.Migration):
    dependencies = [("machines", "0009_sold_for"), ("routeapp", "0021_bags_by_moment")]

    operations = [
        migrations.AddField(
            "stockmove",
            "metered",
            models.ForeignKey("machines.reading", PROTECT, db_index=False, null=True, related_name="+"),
        ),
    ]
