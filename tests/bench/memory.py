"""How much memory the process holds, as Linux tells it (proc(5))."""

import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any


def timed(work: Callable[[], Any]) -> tuple[float, int]:
    """Seconds, and the most memory the process held meanwhile, in MB."""
    forget_peak()
    start = time.perf_counter()
    work()
    return time.perf_counter() - start, peak_mb()


def forget_peak() -> None:
    """The most it held counts from here."""
    Path("/proc/self/clear_refs").write_text("5")


def held_mb() -> int:
    return _mb("VmRSS")


def peak_mb() -> int:
    return _mb("VmHWM")


def _mb(line: str) -> int:
    found = re.search(rf"{line}:\s+(\d+) kB", Path("/proc/self/status").read_text())
    return int(found[1]) // 1024 if found else 0
