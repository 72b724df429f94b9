"""Files that were kept, as answers to people of the business."""

from typing import Any

from django.db.models.fields.files import FieldFile
from django.http import FileResponse, Http404
from django.utils.cache import patch_cache_control

A_DAY = 86_400  # seconds


def kept_file(
    file: FieldFile, *, lasting: bool = True, content_type: str | None = "image/jpeg", **how: Any
) -> FileResponse:
    """A kept file; Http404 where there is none. One that is `lasting` never changes under its address, so browsers may
    keep it for a day."""
    try:
        response = FileResponse(file.open("rb"), content_type=content_type, **how)
    except (ValueError, FileNotFoundError):  # none was taken, or it is not where it was
        raise Http404 from None
    if lasting:
        patch_cache_control(response, private=True, max_age=A_DAY)
    return response
