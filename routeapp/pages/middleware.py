"""Requests larger than anything we ask for are turned away before they are read; refusals come with words."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from routeapp.pages.views_errors import too_large, wrong_method


class SizeMiddleware:
    def __init__(self, get_response: Callable) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        length = request.META.get("CONTENT_LENGTH") or "0"
        if not length.isdecimal() or int(length) > settings.MAX_REQUEST_BYTES:
            return too_large(request)
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
