"""The lists of cabinets and of faults, which say where each cabinet stands, and of where each one stood."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.text import capfirst

from locations.placements.queries import every_placement, with_location
from machines.cabinets import queries as cabinets
from machines.cabinets.forms import CabinetFilter
from machines.cabinets.models import GONE, Status
from machines.faults import queries as faults
from routeapp.kit.access import EVERYONE, OWNER, ROUTE_HAND, allow, may
from routeapp.kit.tables import Column, Table, person

GOOD = (Status.PLACED, Status.READY)


def _status_shape(machine: Any) -> str:
    if machine.status in GOOD:
        return "good"
    return "bad" if machine.status == Status.OUT_OF_ORDER else "none" if machine.status in GONE else "warn"


CABINETS = Table(
    "cabinets",
    (
        Column("code", "Cabinet", "code", link=lambda machine: reverse("cabinet", args=[machine.code])),
        Column("status", "Status", "get_status_display", "state", order="status", shape=_status_shape),
        Column("location", "Stands at", "stands_at"),
        Column("model", "Model", "model.name"),
        Column("kind", "Kind", "model.get_kind_display", order="model__kind"),
        Column("price", "A play", "price_cents", "cash"),
        Column("serial", "Serial", "serial"),
    ),
    find=("code", "serial", "model__name", "stands_at"),
    hint="Code, serial, model or location",
)


@allow(*EVERYONE)
def cabinet_list(request: HttpRequest) -> HttpResponse:
    chosen = CabinetFilter(request.GET)
    counts = cabinets.status_counts()
    context = {"filter": chosen, "counts": counts, "owned": sum(number for _, number in counts)}
    rows = with_location(cabinets.cabinets(**chosen.chosen()))
    return CABINETS.answer(request, "locations/placements/cabinet_list.html", rows, **context)


PLACEMENTS = Table(
    "placements",
    (
        Column("code", "Cabinet", "machine.code", link=lambda stay: reverse("cabinet", args=[stay.machine.code])),
        Column("location", "Location", "location.name", link=lambda stay: reverse("location", args=[stay.location_id])),
        Column("spot", "Where exactly", "spot"),
        Column("from", "From", "started_at", "moment", zone="location.time_zone"),
        Column("to", "Until", "ended_at", "moment", zone="location.time_zone"),
        Column("why", "Ended because", "ended_because"),
        Column("by", "Placed by", person("started_by"), order="started_by__first_name"),
    ),
    find=("machine__code", "location__name", "spot", "ended_because"),
    hint="Cabinet, location or reason",
)


@allow(*EVERYONE)
def placement_list(request: HttpRequest) -> HttpResponse:
    return PLACEMENTS.answer(request, "locations/placements/placement_list.html", every_placement())


WHICH = (
    Column("code", "Cabinet", "machine.code", link=lambda fault: reverse("cabinet", args=[fault.machine.code])),
    Column("location", "Stands at", "stands_at"),
    Column("text", "What is wrong", "text"),
)
WHENCE = (
    Column("since", "Since", "at", "moment"),
    Column("via", "How we know", "get_via_display", order="via"),
    Column("contact", "Contact", "contact"),
    Column("lost", "Money lost", "amount_cents", "cash"),
)
STOPS = Column(
    "stops",
    "Play",
    lambda fault: capfirst(fault.stop_in_words) if fault.stops_play else "Can be played",
    "state",
    order="stops_play",
    shape=lambda fault: "bad" if fault.stops_play else "warn",
)
FIX = Column(
    "fix", "Fix", lambda fault: "Mark as fixed", "do", link=lambda fault: reverse("fault-fix", args=[fault.pk])
)
FIXED = (
    Column("fixed", "Fixed", "fixed_at", "moment"),
    Column("how", "How", "fixed_how"),
    Column("who", "Who", "fixed_by"),
)
FIND = ("machine__code", "machine__model__name", "stands_at", "text", "contact")
HINT = "Cabinet, location or what is wrong"
OPEN_FAULTS = Table("open faults", (*WHICH, STOPS, *WHENCE), FIND, HINT)
FAULTS_TO_FIX = Table("open faults", (*WHICH, STOPS, *WHENCE, FIX), FIND, HINT)
FIXED_FAULTS = Table("fixed faults", (*WHICH, *FIXED, *WHENCE), (*FIND, "fixed_how"), HINT)


@allow(*EVERYONE)
def fault_list(request: HttpRequest) -> HttpResponse:
    fixed = request.GET.get("show") == "fixed"
    rows = with_location(
        faults.fixed_faults() if fixed else faults.open_faults(), machine="machine", at="at" if fixed else ""
    )
    to_fix = FAULTS_TO_FIX if may(request.user, OWNER, ROUTE_HAND) else OPEN_FAULTS
    context = {"fixed": fixed, "stopped": 0 if fixed else faults.cabinets_stopped()}
    return (FIXED_FAULTS if fixed else to_fix).answer(request, "locations/placements/fault_list.html", rows, **context)
