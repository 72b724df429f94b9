import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("routeapp", "0011_settlements"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.DeleteModel("StatementColumns"),
        migrations.RenameField("statement", "columns", "said"),
        migrations.AddField(
            "statement", "signature", models.CharField("plain headings", max_length=500, blank=True, default=""),
            preserve_default=False,
        ),
        migrations.RenameField("bankrow", "uuid", "key"),
        migrations.AlterField("bankrow", "key", models.UUIDField()),
        migrations.AddConstraint(
            "bankrow",
            models.UniqueConstraint(
                condition=models.Q(withdrawn_at=None), fields=("key",), name="bank_row_counts_once"
            ),
        ),
        migrations.CreateModel(
            name='MonthClose',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField(verbose_name='happened at')),
                ('received_at', models.DateTimeField()),
                ('source', models.UUIDField(db_index=True, editable=False, null=True)),
                ('withdrawn_at', models.DateTimeField(editable=False, null=True)),
                ('month', models.DateField()),
                ('left', models.JSONField(default=list)),
                ('note', models.CharField(blank=True, max_length=300)),
                ('reason', models.CharField(blank=True, max_length=300, verbose_name='why it was opened again')),
                ('by', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('withdrawn_by', models.ForeignKey(db_index=False, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-month', '-pk'],
                'abstract': False,
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('withdrawn_at', None), ('withdrawn_by', None)), models.Q(('withdrawn_at__isnull', False), ('withdrawn_by__isnull', False)), _connector='OR'), name='routeapp_monthclose_withdrawn_has_who_and_when'), models.UniqueConstraint(condition=models.Q(('withdrawn_at', None)), fields=('month',), name='month_closed_once'), models.CheckConstraint(condition=models.Q(('month__day', 1)), name='month_is_its_first_day'), models.CheckConstraint(condition=models.Q(('withdrawn_at', None), models.Q(('reason', ''), _negated=True), _connector='OR'), name='month_opened_again_for_a_reason')],
            },
        ),
    ]
