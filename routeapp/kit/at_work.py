"""A kept file that is read, brought in or withdrawn: within the request where it is small, else by itself."""

import logging
from collections.abc import Callable
from functools import partial
from typing import Any

from django.db import models, transaction

from routeapp.kit.choices import TextChoices
from routeapp.kit.errors import Refused
from routeapp.kit.progress import Told, go_on, is_large, is_silent, nobody, progress

BROKEN = (
    "This broke off by a mistake of ours. Nothing was written, and the file is kept. Try it again; if it breaks off "
    "again, tell who looks after Keyround."
)


class Work(TextChoices):
    READING = "reading", "Being read"
    BRINGING = "bringing", "Being brought in"
    WITHDRAWING = "withdrawing", "Being withdrawn"


class KeptFile(models.Model):
    """`work` is what goes on by itself, empty when nothing does; `refused` is why the last one came to nothing."""

    work = models.CharField(max_length=11, choices=Work, blank=True)
    refused = models.TextField(blank=True)

    class Meta:
        abstract = True

    @property
    def is_at_work(self) -> bool:
        return bool(self.work) and not is_silent(self)

    @property
    def is_stopped(self) -> bool:
        """Whether the server ended while it was at work, which is in the books by then or not at all."""
        return bool(self.work) and is_silent(self)

    @property
    def progress(self) -> dict[str, Any]:
        return progress(self)


def start(*, kept: Any, work: Work, do: Callable[..., Any], **columns: Any) -> Any:
    """What `do(told=…)` returns, where the file is small. A large one keeps `columns`, goes on by itself, and None is
    returned; asked twice it is started once. Refuses a file that is at other work."""
    if not is_large(kept):
        return do(told=nobody)
    with transaction.atomic():
        one = type(kept).objects.select_for_update().get(pk=kept.pk)
        if one.is_at_work and one.work != work:
            raise Refused(f"{one} is {one.get_work_display().lower()}. Nothing was changed; try it after that.")
        if one.is_at_work:
            return None
        Told(one)("Starting")
        columns |= {"work": work, "refused": ""}
        type(kept).objects.filter(pk=kept.pk).update(**columns)
    go_on(one, partial(_finish, one, do))
    return None


def _finish(kept: Any, do: Callable[..., Any], told: Told) -> None:
    refused = ""
    try:
        do(told=told)
    except Refused as refusal:
        refused = refusal.message
    except Exception:
        logging.getLogger(__name__).exception("Work on a file broke off")
        refused = BROKEN
    with transaction.atomic():  # in the queue of writers
        type(kept).objects.filter(pk=kept.pk).update(work="", refused=refused)
