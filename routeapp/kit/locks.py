"""Locks on things that may not have a row yet."""

import zlib

from django.db import connection


def lock(*keys: object) -> None:
    """Hold the named keys until the transaction ends, so two submissions of one document cannot interleave.

    SQLite needs nothing: its IMMEDIATE transactions already run one after another.
    """
    if connection.vendor != "postgresql":
        return
    numbers = sorted({zlib.crc32(str(key).encode()) for key in keys})
    with connection.cursor() as cursor:  # sorted, so that two transactions cannot wait for each other
        cursor.execute("SELECT pg_advisory_xact_lock(number) FROM unnest(%s::bigint[]) AS number", [numbers])
