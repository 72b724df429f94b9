"""What a phone needs to work without a network: one page, the worker that keeps it, a stop to take along."""

import hashlib
from functools import lru_cache
from pathlib import Path
from uuid import uuid4

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from locations.placements.queries import standing
from locations.sites.models import Location
from machines.labels.queries import machine_called
from routeapp.kit import clock
from routeapp.kit.access import OWNER, PUBLIC, ROUTE_HAND, allow
from routeapp.visits import queries_stop
from routeapp.visits.forms import CabinetForm
from routeapp.visits.forms_stop import StopForm
from routeapp.visits.queries_sheet import sheet as sheet_for

WORKER = "offline/worker.js"
PAGE = "routeapp/visits/phone.html"
ASSETS = [
    *("css/keyround.css", "icon.svg", "icon-192.png"),
    *(f"js/{name}.js" for name in ("arrival", "count", "page", "rules", "visit")),
    *(
        f"offline/{name}.js"
        for name in (
            "clock",
            "deliveries",
            "document",
            "draft",
            "outbox",
            "pass_on",
            "phone",
            "photos",
            "save",
            "stops",
            "store",
        )
    ),
    *("offline/generic.js", "offline/unsent.js", "offline/rounds.js", "offline/round_page.js"),
]


def _source(name: str) -> bytes:
    return Path(finders.find(name)).read_bytes()


@lru_cache(maxsize=8)
def release(business: str) -> str:
    """Names what stands on a phone: another page, style or script makes another name."""
    told = hashlib.sha256(f"{business} {render_to_string(PAGE)}".encode())
    for name in (WORKER, *ASSETS):
        told.update(static(name).encode() + _source(name))
    return told.hexdigest()[:12]


@allow(PUBLIC)
@never_cache
@require_GET
def phone(request: HttpRequest) -> HttpResponse:
    """“On this phone”. It holds nothing of anybody: scripts fill in what was taken along and what is not sent yet."""
    return render(request, PAGE)


@allow(PUBLIC)
@require_GET
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, for one release. The browser asks anew at each visit."""
    assets = [reverse("phone"), *(static(name) for name in ASSETS)]
    name = release(f"{request.business.name} {request.business.currency}")
    text = f'const RELEASE = "{name}";\nconst ASSETS = {assets};\n{_source(WORKER).decode()}'
    return HttpResponse(text, content_type="text/javascript", headers={"Cache-Control": "no-cache"})


@allow(PUBLIC)
@require_GET
def manifest(request: HttpRequest) -> HttpResponse:
    """How the phone keeps us beside its other programs."""
    name = request.business.name
    pictures = [
        {"src": static("icon.svg"), "sizes": "any", "type": "image/svg+xml"},
        *(
            {"src": static(f"icon-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png", "purpose": purpose}
            for size, purpose in ((192, "any"), (512, "any"), (512, "maskable"))
        ),
    ]
    shortcuts = [("Today", "today"), ("On this phone", "phone"), ("Locations", "locations")]
    told = {
        "name": name,
        "short_name": name[:12],
        "id": "/",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": "#f7f5f0",
        "theme_color": "#12505c",
        "icons": pictures,
        "shortcuts": [{"name": label, "url": reverse(to)} for label, to in shortcuts],
    }
    return JsonResponse(told, content_type="application/manifest+json", headers={"Cache-Control": "no-cache"})


@allow(OWNER, ROUTE_HAND)
@never_cache
@require_GET
def sync_stop(request: HttpRequest, pk: int) -> JsonResponse:
    """One stop to take along: what to know about it, and the visit form as it stands now."""
    return _stop(request, get_object_or_404(Location, pk=pk))


@allow(OWNER, ROUTE_HAND)
@never_cache
@require_GET
def sync_cabinet(request: HttpRequest, code: str) -> JsonResponse:
    """The stop where a cabinet stands, found by its own code or its label's."""
    stay = get_object_or_404(standing().select_related("location"), machine=machine_called(code))
    return _stop(request, stay.location)


def _stop(request: HttpRequest, location: Location) -> JsonResponse:
    now = clock.now()
    sheet = sheet_for(location, request.user, now)
    form = {
        "sheet": sheet,
        "stop": StopForm(sheet=sheet, now=now, initial={"id": uuid4(), "arrived_at": now}),
        "cabinets": [CabinetForm(cabinet=one, sheet=sheet) for one in sheet.cabinets],
        "person": request.user,
    }
    told = {"person": request.user.pk, "form": render_to_string("routeapp/visits/visit_form.html#form", form)}
    return JsonResponse({"stop": {**queries_stop.stop(sheet), **told}})
