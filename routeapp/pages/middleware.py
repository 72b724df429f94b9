"""Requests larger than anything we ask for are turned away before they are read; refusals come with words."""

from collections.abc import Callable

from django.conf import settings
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse

from routeapp.kit.sqlite3.base import BUSY
from routeapp.pages.views_errors import busy, too_large, wrong_method

# PostgreSQL's words for it (its manual, appendix A): serialization failure, deadlock detected, lock not available
WAITED_IN_VAIN = ("40001", "40P01", "55P03")
FILES_COME_TO = ("/imports/", "/everything/in/", "/visits/file/")  # whole businesses come here, from a desk


class SizeMiddleware:
    def __init__(self, get_response: Callable) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        length = request.META.get("CONTENT_LENGTH") or "0"
        most = settings.MAX_FILE_BYTES if request.path.startswith(FILES_COME_TO) else settings.MAX_REQUEST_BYTES
        if not length.isdecimal() or int(length) > most:
            return too_large(request, most)
        return self.get_response(request)


class WordsMiddleware:
    """An address for buttons only, opened by hand or reloaded after signing in, says so instead of staying blank."""

    def __init__(self, get_response: Callable) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if response.status_code != 405 or response.content:
            return response
        worded = wrong_method(request)
        worded["Allow"] = response["Allow"]
        return worded

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Who waited in vain for others' writing hears so; phones send again by themselves."""
        waited = BUSY in str(exception) or getattr(exception.__cause__, "sqlstate", "") in WAITED_IN_VAIN
        return busy(request) if isinstance(exception, OperationalError) and waited else None
