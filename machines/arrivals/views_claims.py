"""Pages of claims: raising one from findings, where it stands, its paper."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import dateformat
from django.utils.text import slugify

from machines.arrivals import actions_claims, queries, queries_claims, rules_paper
from machines.arrivals.forms_claims import ClaimForm, StepForm
from machines.arrivals.models import WRONG, ArrivalPhoto
from machines.arrivals.queries_claims import Standing
from routeapp.kit import money
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, ROUTE_HAND, allow
from routeapp.kit.clock import local_day, now
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, page

MOST_PHOTOS = 24


def _standing(request: HttpRequest, uuid: UUID) -> Standing:
    claim = get_object_or_404(queries_claims.claims(), uuid=uuid)
    zone = request.business.time_zone
    return queries_claims.standing(claim, local_day(now(), zone), zone)


@allow(*EVERYONE)
def claim_list(request: HttpRequest) -> HttpResponse:
    zone = request.business.time_zone
    today = local_day(now(), zone)
    stood = [queries_claims.standing(claim, today, zone) for claim in queries_claims.claims()]
    stood.sort(key=lambda one: one.urgency)
    context = {
        "stood": stood,
        "scores": queries_claims.scores(stood, zone),
        "open": sum(not one.is_closed for one in stood),
    }
    return page(request, "machines/arrivals/claim_list.html", context)


@allow(OWNER, ROUTE_HAND)
def claim_add(request: HttpRequest, uuid: UUID) -> HttpResponse:
    arrival = get_object_or_404(queries.arrivals(), uuid=uuid)
    findings = queries.findings_of(arrival.order).filter(state__in=WRONG)
    form = ClaimForm(**sent(request), arrival=arrival, findings=findings, zone=request.business.time_zone)
    if form.is_valid() and accepted(
        form, actions_claims.raise_claim, arrival=arrival, **form.said(), by=request.user, at=now()
    ):
        return done(request, "The claim stands. Send its paper and note it here.", "claim", form.cleaned_data["uuid"])
    return ask(request, "machines/arrivals/claim_form.html", form, arrival=arrival)


@allow(OWNER, ROUTE_HAND, BOOKKEEPER)
def claim_page(request: HttpRequest, uuid: UUID) -> HttpResponse:
    stands, moment = _standing(request, uuid), now()
    form = StepForm(**sent(request), claim=stands.claim, now=moment, zone=request.business.time_zone)
    facts: dict[str, Any] = {"claim": stands.claim, "by": request.user, "received_at": moment}
    if form.is_valid() and accepted(form, actions_claims.note_step, **form.cleaned_data, **facts):
        return done(request, "Noted.", "claim", uuid)
    return ask(request, "machines/arrivals/claim.html", form, stands=stands, claim=stands.claim)


@allow(*EVERYONE)
def claim_pdf(request: HttpRequest, uuid: UUID) -> HttpResponse:
    stands = _standing(request, uuid)
    business = request.business
    paper = _paper(stands, f"{business.name}\n{business.contact}".strip())
    content = rules_paper.pdf(paper, us_letter=business.currency == "USD")
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="claim-{slugify(stands.claim.arrival.order.number)}.pdf"'
    return response


def _paper(stands: Standing, sender: str) -> rules_paper.ClaimPaper:
    claim, arrival = stands.claim, stands.claim.arrival
    machines = {one.item.finding.machine_id for one in stands.items}
    mine = [photo for photo in queries.photos_of(arrival.order) if photo.machine_id in machines | {None}]
    facts = [
        ("Our order", str(arrival.order)),
        ("Delivered", dateformat.format(claim.delivered_on, "j F Y")),
        ("On the delivery receipt", arrival.receipt_words or "nothing"),
        *[(one.what, f"by {dateformat.format(one.on, 'j F Y')}") for one in stands.deadlines if one.on],
    ]
    rows = [
        rules_paper.Row(
            what=str(one.item.finding),
            wrong=f"{one.item.finding.get_state_display()}. {one.item.finding.note}".strip(),
            asked=one.item.get_wish_display(),
            amount=money.as_text(one.item.cents),
        )
        for one in stands.items
    ]
    return rules_paper.ClaimPaper(
        sender=sender,
        to=claim.name,
        title=f"Claim for damage and loss, order {arrival.order}",
        facts=facts,
        rows=rows,
        total=money.as_text(stands.asked),
        words=claim.note,
        photos=[
            (f"{photo.machine or 'The delivery'}{': ' * bool(photo.what)}{photo.what}", content)
            for photo in mine[:MOST_PHOTOS]
            if (content := _read(photo))
        ],
    )


def _read(photo: ArrivalPhoto) -> bytes:
    """The picture; nothing when its file is not where it was."""
    try:
        with photo.file.open("rb") as file:
            return bytes(file.read())
    except FileNotFoundError:
        return b""
