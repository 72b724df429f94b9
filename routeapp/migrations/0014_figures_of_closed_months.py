from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("routeapp", "0013_cards_expenses")]

    operations = [migrations.AddField("monthclose", "figures", models.JSONField(default=dict))]
