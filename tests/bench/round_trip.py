"""The demo taken out and brought into an empty installation: seconds, and what differs afterwards."""

import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection

from routeapp.data.demo.load import load
from routeapp.data.export import queries
from routeapp.data.export.actions import take_out
from routeapp.data.export.actions_bring_in import bring_in
from routeapp.kit import clock
from tests.visits.books import purse_balances, stock_balances


def run() -> Iterator[dict[str, Any]]:
    load(now=clock.now(), say=str)
    before = _books()
    file = Path(settings.DATA) / "everything.zip"
    start = time.perf_counter()
    with file.open("wb") as out:
        for piece in take_out(at=clock.now()):
            out.write(piece)
    size = file.stat().st_size
    yield {"case": "out", "seconds": _since(start), "rows": sum(map(len, before["tables"].values())), "bytes": size}
    _empty()
    start = time.perf_counter()
    with file.open("rb") as opened:
        bring_in(file=opened, size=size, at=clock.now())
    yield {"case": "in", "seconds": _since(start)}
    after = _books()
    after["tables"]["log entry"].pop()  # who brought it in
    wrong = [name for name, rows in before["tables"].items() if after["tables"][name] != rows]
    wrong += [name for name in before if name != "tables" and before[name] != after[name]]
    yield {"case": "differences", "count": len(wrong), "where": wrong}
    if wrong:
        raise RuntimeError(f"Not the same after the round trip: {', '.join(wrong)}.")


def _since(start: float) -> float:
    return round(time.perf_counter() - start, 2)


def _books() -> dict[str, Any]:
    tables = {table.name: list(table.rows()) for table in queries.tables()}
    return {"tables": tables, "money": purse_balances(), "prizes": stock_balances()}


def _empty() -> None:
    """As another installation: no row, and a folder without photos."""
    for table in reversed(queries.tables()):
        table.model._base_manager.all()._raw_delete(connection.alias)
    shutil.rmtree(settings.MEDIA_ROOT)
