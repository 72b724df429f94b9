"""A cabinet stands in one place at a time: no two placements of one cabinet may share a moment.

A constraint over ranges is beyond what Django expresses for both engines, so each gets its own means. On SQLite a
later migration that alters the placement table rebuilds it and drops the triggers: it must add them again.
"""

from django.db import migrations

SQLITE_TRIGGER = """
CREATE TRIGGER placement_no_overlap_{name} BEFORE {event} ON locations_placement
WHEN EXISTS (
    SELECT 1 FROM locations_placement AS other
    WHERE other.machine_id = NEW.machine_id AND other.id IS NOT NEW.id
    AND (NEW.ended_at IS NULL OR other.started_at < NEW.ended_at)
    AND (other.ended_at IS NULL OR NEW.started_at < other.ended_at)
)
BEGIN SELECT RAISE(ABORT, 'placement_no_overlap'); END
"""
SQLITE_EVENTS = {"insert": "INSERT", "update": "UPDATE OF machine_id, started_at, ended_at"}

# The cabinet is written as a range of one number: plain equality in such an index would need an extension.
POSTGRES_ADD = """
ALTER TABLE locations_placement ADD CONSTRAINT placement_no_overlap EXCLUDE USING gist (
    int8range(machine_id, machine_id, '[]') WITH &&, tstzrange(started_at, ended_at) WITH &&
)
"""
POSTGRES_DROP = "ALTER TABLE locations_placement DROP CONSTRAINT placement_no_overlap"


def add(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(POSTGRES_ADD)
    else:
        for name, event in SQLITE_EVENTS.items():
            schema_editor.execute(SQLITE_TRIGGER.format(name=name, event=event))


def drop(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(POSTGRES_DROP)
    else:
        for name in SQLITE_EVENTS:
            schema_editor.execute(f"DROP TRIGGER placement_no_overlap_{name}")


class Migration(migrations.Migration):

    dependencies = [("locations", "0001_tables")]

    operations = [migrations.RunPython(add, drop)]
