"""Writing rows of which others may be changing something else."""

from collections.abc import Mapping
from typing import Any

from django.db.models import Model


def write(row: Model, columns: Mapping[str, Any]) -> None:
    """Save a new row with these columns, or write only them into one that is there: what others change stays."""
    for name, value in columns.items():
        setattr(row, name, value)
    row.save(update_fields=None if row._state.adding else list(columns))
