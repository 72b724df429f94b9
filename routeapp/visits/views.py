"""The visit page, its correction and withdrawal, what a visit looks like afterwards, and its receipt."""

from typing import Any
from uuid import UUID, uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect

from locations.agreements.models import Payment
from locations.agreements.queries import in_force, words_of
from locations.agreements.rules_terms import share_on_the_spot
from locations.sites.models import Location
from routeapp.kit import clock, htmx
from routeapp.kit.access import BOOKKEEPER, OWNER, ROUTE_HAND, allow
from routeapp.kit.errors import Refused
from routeapp.kit.files import kept_file
from routeapp.visits import queries, queries_late, queries_questions, queries_told, rules_document
from routeapp.visits.actions import record_visit
from routeapp.visits.actions_photos import drop_photos, keep_photo, kept_photos
from routeapp.visits.forms import CabinetForm
from routeapp.visits.forms_document import clean_photos, fill, initial_of
from routeapp.visits.forms_stop import StopForm
from routeapp.visits.models import HostPayment, Photo, Visit
from routeapp.visits.queries_sheet import sheet as sheet_for
from routeapp.visits.rules_document import Document


@allow(OWNER, ROUTE_HAND)
def visit_start(request: HttpRequest, pk: int) -> HttpResponse:
    """One page for a stop."""
    return _visit_page(request, get_object_or_404(Location, pk=pk))


@allow(OWNER, ROUTE_HAND)
def visit_correct(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The same page with what was entered, to be put right. The first version stays readable."""
    visit = get_object_or_404(Visit.objects.select_related("location"), pk=uuid)
    if newer := queries.corrected_by(visit):
        return redirect("visit", newer.pk)
    return _visit_page(request, visit.location, amends=rules_document.read(visit.document))


def _visit_page(request: HttpRequest, location: Location, amends: Document | None = None) -> HttpResponse:
    now = clock.now()
    named = {part.machine for part in amends.entries} if amends else set()
    posted = {int(pk) for pk in request.POST.getlist("cabinet") if pk.isdecimal() and len(pk) < 19}
    at = amends.arrived_at if amends else now
    sheet = sheet_for(location, request.user, at, besides=named | posted, amends=amends)
    data: Any = request.POST if request.method == "POST" else None
    files: Any = request.FILES if data is not None else None
    stop = StopForm(data, sheet=sheet, now=now, correcting=bool(amends), initial=_stop_initial(amends, now))
    parts = {part.machine: part for part in amends.entries} if amends else {}
    cabinets = [
        CabinetForm(
            data,
            files,
            cabinet=cabinet,
            sheet=sheet,
            initial=initial_of(parts[cabinet.machine.pk]) if cabinet.machine.pk in parts else {},
        )
        for cabinet in sheet.cabinets
    ]
    problems: list[str] = []
    if data is not None:
        _keep_photos(cabinets, request.user)
        saved, problems = _save(request, stop, cabinets, amends)
        if saved:
            return htmx.done(
                request, "Saved." if not amends else "Corrected. The first version stays readable.", "visit", saved.pk
            )
    context = {"sheet": sheet, "stop": stop, "cabinets": cabinets, "amends": amends, "problems": problems}
    context["person"] = request.user
    deals = in_force(location, clock.local_day(amends.arrived_at if amends else now, location.time_zone))
    if any(deal.paid == Payment.CASH for deal in deals):  # not on what a phone takes along: it can be lost
        context |= {"agreed": words_of(deals), "share": share_on_the_spot(deals)}
    return htmx.page(request, "routeapp/visits/visit_form.html", context, status=422 if data is not None else 200)


def _stop_initial(amends: Document | None, now: Any) -> dict[str, Any]:
    if amends is None:
        return {"id": uuid4(), "arrived_at": now}
    paid = amends.host_payment
    return {
        "id": uuid4(),
        "arrived_at": amends.arrived_at,
        "left_at": amends.departed_at.isoformat(),
        "load_from": amends.load_from,
        "host_cents": paid.cents if paid else None,
        "host_received_by": paid.received_by if paid else "",
        "note": amends.note,
    }


def _save(
    request: HttpRequest, stop: StopForm, cabinets: list[CabinetForm], amends: Document | None
) -> tuple[Visit | None, list[str]]:
    """The recorded visit, or None and what stands above the forms; what belongs to a field is shown there."""
    filled = fill(stop, cabinets, amends)
    document = filled.document() if filled else None
    if filled is None or document is None:
        return None, [*(filled.general if filled else []), "Nothing is saved yet: look at the marked fields below."]
    if not (document.entries or document.host_payment or document.note or amends):
        return None, ["Nothing is entered yet. Were you here and did nothing? Then write why in the note."]
    if not stop.cleaned_data["asked"]:
        questions = queries_questions.questions(document)
        for path, question in questions.items():
            filled.show(path, question)
        if questions:
            stop.data = stop.data.copy()
            stop.data["asked"] = "on"
            again = "Look again at what is marked below. If it is right, say so and save once more."
            return None, [*filled.general, again]
    photos = kept_photos([photo for form in cabinets for photo in form.kept], request.user)
    try:
        visit = record_visit(document=document, photos=photos, by=request.user, at=clock.now()).visit
    except Refused as refusal:
        filled.show(refusal.field, refusal.message)
        return None, [*filled.general, "Nothing is saved yet; what you typed is kept."]
    drop_photos(photos=photos, by=request.user)
    return visit, []


def _keep_photos(cabinets: list[CabinetForm], by: Any) -> None:
    for form in cabinets:
        for photo, content in clean_photos(form).items():
            keep_photo(photo=photo, content=content, by=by)
            form.kept.append(photo)


@allow(OWNER, ROUTE_HAND, BOOKKEEPER)
def visit_page(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What happened at one stop, and whether the money is right."""
    visit = get_object_or_404(queries.visits(), pk=uuid)
    told = queries_told.tell(visit)
    context = {
        "visit": visit,
        "told": told,
        "sums": queries_told.sums(told),
        "newer": queries.corrected_by(visit),
        "doubt": queries_late.doubt_about(visit),
        "older": Visit.objects.filter(pk=visit.replaces).first() if visit.replaces else None,
    }
    return htmx.page(request, "routeapp/visits/visit.html", context)


@allow(OWNER, ROUTE_HAND)
def visit_withdraw(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Withdraw a visit that should not have been; the withdrawal is a fact of its own."""
    visit = get_object_or_404(queries.visits(), pk=uuid)
    newer = queries.corrected_by(visit)
    if newer and (newer.void or request.method == "GET"):
        return redirect("visit", newer.pk)
    reason, problem = request.POST.get("reason", "").replace("\x00", "").strip()[:300], ""
    if request.method == "POST":
        try:
            made = record_visit(document=_withdrawal(visit, reason), photos={}, by=request.user, at=clock.now()).visit
            return htmx.done(request, "Withdrawn. What it said stays readable.", "visit", made.pk)
        except Refused as refusal:
            problem = refusal.message
    context = {"visit": visit, "problem": problem, "reason": reason}
    return htmx.page(request, "routeapp/visits/visit_withdraw.html", context, status=422 if problem else 200)


def _withdrawal(visit: Visit, reason: str) -> Document:
    if not reason:
        raise Refused("Say why the visit is withdrawn.")
    when = {"arrived_at": visit.at, "departed_at": visit.departed_at}
    amends = {"replaces": visit.pk, "void": True, "reason": reason}
    return Document(id=uuid4(), location=visit.location_id, **when, **amends)


@allow(OWNER, ROUTE_HAND, BOOKKEEPER)
def visit_receipt(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A paper for the host who was paid on the spot."""
    visit = get_object_or_404(queries.visits(), pk=uuid, host_payment__isnull=False)
    context = {"visit": visit, "told": queries_told.tell(visit)}
    return htmx.page(request, "routeapp/visits/receipt.html", context)


@allow(OWNER, ROUTE_HAND, BOOKKEEPER)
def photo(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A photo of a visit, for people of the business only."""
    return kept_file(get_object_or_404(Photo, pk=uuid).file)


@allow(OWNER, ROUTE_HAND, BOOKKEEPER)
def signature(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What the host drew on the phone when they took the money."""
    return kept_file(get_object_or_404(HostPayment.objects.exclude(signature=""), visit=uuid).signature)
