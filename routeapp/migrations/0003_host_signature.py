from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("routeapp", "0002_roles")]

    operations = [
        migrations.AddField("hostpayment", "signature", models.FileField(blank=True, upload_to="signatures/%Y/%m/")),
    ]
