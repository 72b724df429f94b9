"""Parts of pages that stay as they are until somebody writes something down, kept in memory by {% cache %}, and what
several of them are made of."""

from collections.abc import Callable
from typing import Any

from django.core.cache import cache
from django.http import HttpRequest

from routeapp.kit import audit
from routeapp.kit.access import roles_of

KEPT_SECONDS = 300  # the oldest that “open for 3 hours” on a page may be


def key(request: HttpRequest, *stamps: object) -> str:
    """Names all that a part of a page depends on: its address, what the person may see, the newest line of the log
    (each action writes one in its own transaction), and further `stamps` for what has no line there."""
    roles = ",".join(sorted(roles_of(request.user)))
    return "|".join(map(str, (request.get_full_path(), roles, audit.newest(), *stamps)))


def kept(make: Callable[[], Any], *stamps: object) -> Any:
    """What is made of all that `stamps` name, whoever asks and however the page filters or sorts it."""
    return cache.get_or_set("|".join(map(str, (audit.newest(), *stamps))), make, KEPT_SECONDS)
