"""Work on a kept file that may take longer than somebody waits: small files are through within the request, large
ones go on in a thread, one at a time, and tell the page that waits how far they are."""

import json
import os
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from contextvars import copy_context
from pathlib import Path
from typing import Any

from django.db import connection

AT_ONCE = 48 * 1024  # bytes; smaller files are through before a page that waits could be shown
SECONDS = 0.5  # between two lines
LIFE_SECONDS = 5  # between two signs of life, also where the work has nothing to tell
SILENT_SECONDS = 60  # work without one for so long has ended with the server
MOMENT = 2  # seconds
NOWHERE = {"what": "Starting", "done": 0, "of": 0}
_turn = threading.Lock()  # each takes a processor, and memory


class Told:
    """Called as told(what, done, of); writes at most twice a second, beside the file and not in the database, which
    the work keeps locked until it is through. `kept` is what has the `file`."""

    def __init__(self, kept: Any) -> None:
        self.path = path_of(kept)
        self.last = 0.0

    def __call__(self, what: str, done: int = 0, of: int = 0) -> None:
        now = time.monotonic()
        if now - self.last > SECONDS:
            self.path.write_text(json.dumps({"what": what, "done": done, "of": of}))
            self.last = now

    def end(self) -> None:
        self.path.unlink(missing_ok=True)


Tell = Callable[..., None]


def nobody(*said: Any) -> None:
    """Where nobody waits to be told."""


def path_of(kept: Any) -> Path:
    return Path(f"{kept.file.path}.progress")


def progress(kept: Any) -> dict[str, Any]:
    with suppress(OSError, ValueError):
        return json.loads(path_of(kept).read_text())
    return NOWHERE


def is_silent(kept: Any) -> bool:
    """Whether work on a file has ended with the server: what it was about is in the books by then, or not at all."""
    try:
        return time.time() - path_of(kept).stat().st_mtime > SILENT_SECONDS
    except OSError:
        return True


def is_large(kept: Any) -> bool:
    """Not where the file is gone: whoever reads it says so."""
    try:
        return kept.file.size > AT_ONCE
    except OSError:
        return False


def go_on(kept: Any, work: Callable[[Told], None]) -> None:
    """Work in a thread, with the currency and the time zone of this request; `work` writes down what became of it.

    Tell something before the row says that it is at work, or it counts as silent.
    """
    run = copy_context().run
    threading.Thread(target=run, args=(_alone, Told(kept), work), name="work on a file", daemon=True).start()


def _alone(told: Told, work: Callable[[Told], None]) -> None:
    over = threading.Event()
    threading.Thread(target=_give_signs_of_life, args=(told.path, over), daemon=True).start()
    try:
        while not _turn.acquire(timeout=MOMENT):
            told("Waiting until another file is through")
        try:
            work(told)
        finally:
            _turn.release()
    finally:
        over.set()
        told.end()
        connection.close()


def _give_signs_of_life(path: Path, over: threading.Event) -> None:
    while not over.wait(LIFE_SECONDS):
        with suppress(OSError):
            os.utime(path)
