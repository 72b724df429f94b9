"""How far a run is, told from inside its transaction to the page that waits for it."""

import json
import time
from typing import Any

from routeapp.data.imports.models import SheetImport
from routeapp.data.imports.queries import progress_file

SECONDS = 0.5  # between two lines


class Told:
    """Called as told(what, done, of); writes at most twice a second."""

    def __init__(self, sheet_import: SheetImport) -> None:
        self.path = progress_file(sheet_import)
        self.last = 0.0

    def __call__(self, what: str, done: int = 0, of: int = 0) -> None:
        now = time.monotonic()
        if now - self.last > SECONDS:
            said: dict[str, Any] = {"what": what, "done": done, "of": of}
            self.path.write_text(json.dumps(said))
            self.last = now

    def end(self) -> None:
        self.path.unlink(missing_ok=True)
