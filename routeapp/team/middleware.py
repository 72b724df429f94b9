"""Puts the business, its currency and its time zone in place for the length of a request."""

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from routeapp.kit import money, units
from routeapp.team.queries import business


class BusinessMiddleware:
    def __init__(self, get_response: Callable) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.business = business()
        money.activate(request.business.currency)
        units.activate(request.business.units)
        with timezone.override(ZoneInfo(request.business.time_zone)):
            return self.get_response(request)
