"""The three roles, kept as groups."""

from django.db import migrations

ROLES = ("owner", "route hand", "bookkeeper")


def make_roles(apps, schema_editor):
    groups = apps.get_model("auth", "Group").objects
    for name in ROLES:
        groups.get_or_create(name=name)


class Migration(migrations.Migration):
    dependencies = [("routeapp", "0001_tables"), ("auth", "0012_alter_user_first_name_max_length")]

    operations = [migrations.RunPython(make_roles, migrations.RunPython.noop)]
