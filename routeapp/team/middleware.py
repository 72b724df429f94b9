"""Puts the business, its currency and its time zone in place for the length of a request; who comes back stays."""

from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.signals import user_logged_in
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from routeapp.kit import clock, money, units
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


class StayMiddleware:
    """A session ends so long after the last day somebody was here, not after they signed in: else each phone would be
    signed out in the middle of some round. It is written anew once a day."""

    def __init__(self, get_response: Callable) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        session = request.session
        if session.accessed and session.get("day") != _today() and request.user.is_authenticated:
            session["day"] = _today()
        return response


@receiver(user_logged_in)
def _note_the_day(request: HttpRequest, **_: Any) -> None:
    request.session["day"] = _today()


def _today() -> str:
    return f"{clock.now():%Y-%m-%d}"
