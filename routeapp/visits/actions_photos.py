"""Photos that wait until the visit they belong to is saved: a browser forgets chosen files when a form comes back."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage


def _path(photo: UUID, by: Any) -> str:
    return f"waiting/{by.pk}/{photo}.jpg"


def keep_photo(*, photo: UUID, content: bytes, by: Any) -> None:
    """Keep a cleaned photo for this person until `take_photos` fetches it. The same photo again changes nothing."""
    if not default_storage.exists(_path(photo, by)):
        default_storage.save(_path(photo, by), ContentFile(content))


def kept_photos(photos: Iterable[UUID], by: Any) -> dict[UUID, bytes]:
    """Those of the photos that this person has waiting."""
    found = {}
    for photo in photos:
        if default_storage.exists(_path(photo, by)):
            with default_storage.open(_path(photo, by)) as file:
                found[photo] = file.read()
    return found


def drop_photos(*, photos: Iterable[UUID], by: Any) -> None:
    """Let go of photos whose visit is saved."""
    for photo in photos:
        default_storage.delete(_path(photo, by))
