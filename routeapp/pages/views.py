"""Pages that show more than one feature: Today, search, a cabinet, a location, and the page behind a label."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from locations.sites.models import Location
from machines.cabinets.models import Machine
from machines.faults.queries import newest_fault
from machines.labels.queries import machine_called, machine_for_code
from machines.labels.views import public_report
from routeapp.kit import clock, memory
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, PUBLIC, ROUTE_HAND, allow, may
from routeapp.kit.htmx import page
from routeapp.pages import queries_search, queries_steps, queries_today
from routeapp.pages.queries_cabinet import cabinet_page
from routeapp.pages.queries_location import location_page
from routeapp.planning import queries_rounds


@allow(*EVERYONE)
def today(request: HttpRequest) -> HttpResponse:
    now, zone = clock.now(), timezone.get_current_timezone_name()
    acts = {"settles": may(request.user, OWNER, BOOKKEEPER), "orders": may(request.user, OWNER, ROUTE_HAND)}
    context = {
        "today": SimpleLazyObject(lambda: queries_today.today(now, zone, **acts)),
        "steps": SimpleLazyObject(lambda: queries_steps.first_steps(request.business)),
        "key": _key(request),
        "round": queries_rounds.round_today(request.user, now, zone),
    }
    return page(request, "routeapp/pages/today.html", context)


@allow(*EVERYONE)
def search(request: HttpRequest) -> HttpResponse:
    text = queries_search.cleaned(request.GET.get("q", ""))
    if text and (machine := machine_called(text)):
        return redirect("cabinet", machine.code)
    context = {"text": text, "found": queries_search.search(text) if text else None}
    return page(request, "routeapp/pages/search.html", context)


@allow(*EVERYONE)
def cabinet(request: HttpRequest, code: str) -> HttpResponse:
    machine = get_object_or_404(Machine.objects.select_related("model"), code=code.upper())
    return _cabinet(request, machine)


@allow(PUBLIC)
def label_page(request: HttpRequest, code: str) -> HttpResponse:
    """Behind the label on a cabinet: the cabinet's page for our own people, a report form for everybody else."""
    machine = machine_for_code(code)
    if machine and request.method != "POST" and may(request.user, *EVERYONE):
        return _cabinet(request, machine)
    return public_report(request, code)


def _cabinet(request: HttpRequest, machine: Machine) -> HttpResponse:
    now, zone = clock.now(), timezone.get_current_timezone_name()
    shown = SimpleLazyObject(lambda: cabinet_page(machine, now, zone))
    context = {"shown": shown, "machine": machine, "key": _key(request)}
    return page(request, "routeapp/pages/cabinet.html", context)


@allow(*EVERYONE)
def location(request: HttpRequest, pk: int) -> HttpResponse:
    found, now = get_object_or_404(Location.objects.select_related("host"), pk=pk), clock.now()
    shown = SimpleLazyObject(lambda: location_page(found, now))
    context = {"shown": shown, "location": found, "key": _key(request)}
    return page(request, "routeapp/pages/location.html", context)


def _key(request: HttpRequest) -> str:
    """Strangers' reports are no action of anybody's, so they leave no line in the log."""
    return memory.key(request, newest_fault())


@allow(PUBLIC)
def healthz(request: HttpRequest) -> HttpResponse:
    """For whatever watches the server: it answers, and so does its database (the business was read)."""
    return HttpResponse("ok", content_type="text/plain")


@allow(PUBLIC)
def robots(request: HttpRequest) -> HttpResponse:
    return HttpResponse("User-agent: *\nDisallow: /\n", content_type="text/plain")
