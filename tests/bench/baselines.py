"""The least that a Django view can do for the same outcome: the same rows by raw SQL, a page of the same size."""

import base64
import json
import random
import re
from functools import cache
from pathlib import Path
from uuid import uuid4

from django.conf import settings
from django.db import connection, transaction
from django.http import HttpRequest, HttpResponse
from django.template import Context, Template
from django.views.decorators.http import require_POST

from routeapp.kit.access import EVERYONE, allow

ROWS = Path(settings.DATA) / "bench-rows.json"  # rows by table, as one of our submissions wrote them


@cache
def inserts(into: str) -> list[tuple[str, list[list]]]:
    """An INSERT with its rows for each table. Where ours changed a row, it is replaced."""
    copy = "" if into == "same" else f"{into}_"
    return [
        (f"INSERT OR REPLACE INTO {copy}{table} VALUES ({', '.join(['%s'] * len(rows[0]))})", rows)
        for table, rows in json.loads(ROWS.read_text()).items()
    ]


@cache
def ids() -> set[str]:
    """Ids in these rows, which a second row may not have."""
    rows = [row for rows in json.loads(ROWS.read_text()).values() for row in rows]
    return {value for row in rows for value in row if isinstance(value, str) and re.fullmatch("[0-9a-f]{32}", value)}


@allow(*EVERYONE)
@require_POST
def rows(request: HttpRequest, into: str) -> HttpResponse:
    """`same` tables are ours with all their rules; `plain` ones have their columns and nothing else, `indexed` ones
    their indexes too, but no rule."""
    new = {old: uuid4().hex for old in ids()} if into == "same" else {}
    with transaction.atomic(), connection.cursor() as cursor:
        for sql, values in inserts(into):
            cursor.executemany(sql, [[new.get(value, value) for value in row] for row in values] if new else values)
    return HttpResponse(status=201)


@cache
def template(size: int) -> Template:
    """A page of `size` bytes with the name of who is signed in; about as hard to compress as ours."""
    noise = base64.b64encode(random.Random(size).randbytes(size // 16)).decode()
    text = (noise * 16)[: max(0, size - 20)]
    return Template("<p>{{ user.first_name }}</p>" + text)


@allow(*EVERYONE)
def page(request: HttpRequest, size: int) -> HttpResponse:
    return HttpResponse(template(size).render(Context({"user": request.user})))
