"""What is to be expected of one cabinet."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from machines.cabinets.models import Machine
from routeapp.kit import clock
from routeapp.kit.access import EVERYONE, allow
from routeapp.kit.htmx import page
from routeapp.planning import queries_quality
from routeapp.planning.queries_fan import fan
from routeapp.planning.queries_outlook import outlook


@allow(*EVERYONE)
def cabinet_forecast(request: HttpRequest, code: str) -> HttpResponse:
    machine = get_object_or_404(Machine.objects.select_related("model"), code=code.upper())
    now = clock.now()
    seen = outlook(now, [machine.pk])
    quality = queries_quality.quality(seen, machine.pk)
    context = {
        "machine": machine,
        "forecast": seen.forecasts.get(machine.pk),
        "fan": fan(seen, machine.pk, now),
        "quality": quality,
        "words": queries_quality.in_words(quality),
    }
    return page(request, "routeapp/planning/cabinet_forecast.html", context)
