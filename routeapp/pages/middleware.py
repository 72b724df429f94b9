"""Requests larger than anything we ask for are turned away before they are read."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from routeapp.pages.views_errors import too_large


class SizeMiddleware:
    def __init__(self, get_response: Callable) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        length = request.META.get("CONTENT_LENGTH") or "0"
        if not length.isdigit() or int(length) > settings.MAX_REQUEST_BYTES:
            return too_large(request)
        return self.get_response(request)
