"""Pages of labels: printing one or a sheet, its picture, renewing it; and the page strangers see behind it."""

from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import cache_control

from machines.cabinets.models import Machine
from machines.labels import actions, queries, rules, rules_pdf, rules_symbol
from machines.labels.forms import PublicReportForm, SheetForm
from machines.labels.models import Label
from routeapp.kit.access import OWNER, ROUTE_HAND, allow
from routeapp.kit.clock import now
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, page
from routeapp.kit.senders import address_of
from routeapp.kit.tables import Column, Table, person

LABELS = Table(
    "labels",
    (
        Column("cabinet", "Cabinet", "machine.code", link=lambda one: reverse("label", args=[one.machine.code])),
        Column("model", "Model", "machine.model.name"),
        Column("code", "Code on the label", lambda one: rules.grouped(one.code), order=False),
        Column("made", "Made", "at", "moment"),
        Column("who", "By", person("by"), order="by__username"),
    ),
    hint="Cabinet, model or code",
)
SHEET = "labels.sheet"  # what the last sheet looked like, kept in the session


def label_of(request: HttpRequest, code: str) -> Label:
    machine = get_object_or_404(Machine.objects.select_related("model"), code=code)
    return actions.label_for(machine=machine, by=request.user, at=now())


@allow(OWNER, ROUTE_HAND)
def label_print(request: HttpRequest, code: str) -> HttpResponse:
    label = label_of(request, code)
    context = {
        "label": label,
        "machine": label.machine,
        "address": rules.typed_address(settings.PUBLIC_URL),
        "code": rules.grouped(label.code),
        "leads_nowhere": rules.leads_nowhere(settings.PUBLIC_URL),
    }
    return page(request, "machines/labels/label_print.html", context)


@allow(OWNER, ROUTE_HAND)
@cache_control(private=True, no_cache=True)
def label_png(request: HttpRequest, code: str) -> HttpResponse:
    label = label_of(request, code)
    return HttpResponse(rules_symbol.png(queries.scanned(label.code)), content_type="image/png")


@allow(OWNER, ROUTE_HAND)
@cache_control(private=True, no_cache=True)
def label_svg(request: HttpRequest, code: str) -> HttpResponse:
    label = label_of(request, code)
    return HttpResponse(rules_symbol.svg(queries.scanned(label.code)), content_type="image/svg+xml")


@allow(OWNER)
def label_renew(request: HttpRequest, code: str) -> HttpResponse:
    label = label_of(request, code)
    if request.method == "POST":
        if request.POST.get("code") == label.code:  # sent twice, it is renewed once
            actions.renew_label(label=label, by=request.user, at=now())
        return done(request, f"{label.machine} has a new label. Print it and put it over the old one.", "label", code)
    return page(request, "machines/labels/label_renew.html", {"label": label, "machine": label.machine})


@allow(OWNER, ROUTE_HAND)
def label_list(request: HttpRequest) -> HttpResponse:
    first: dict[str, Any] = {"page": "letter" if request.business.currency == "USD" else "a4"}
    first |= request.session.get(SHEET, {})
    chosen = queries.printable_cabinets().filter(code=request.GET.get("cabinet", "").replace("\0", ""))
    form = SheetForm(initial=first | {"cabinets": chosen})
    context = {"form": form, "leads_nowhere": rules.leads_nowhere(settings.PUBLIC_URL)}
    return LABELS.answer(request, "machines/labels/label_list.html", queries.labels_found, **context)


@allow(OWNER, ROUTE_HAND)
def label_sheet(request: HttpRequest) -> HttpResponse:
    if request.method != "POST":
        return redirect("labels")
    form = SheetForm(**sent(request))
    if not form.is_valid():
        table = LABELS.shown(request.GET, queries.labels_found)
        return ask(request, "machines/labels/label_list.html", form, table=table)
    request.session[SHEET] = form.remembered()
    labels = actions.labels_for(machines=form.machines(), by=request.user, at=now())
    business = request.business
    words = [rules_pdf.LabelWords(str(label.machine), label.code, business.name, business.contact) for label in labels]
    pdf = rules_pdf.pdf(words, form.sheet(), form.cleaned_data["start"], settings.PUBLIC_URL)
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="labels.pdf"'
    return response


def public_report(request: HttpRequest, label_code: str) -> HttpResponse:
    """What a stranger sees behind a label: a form to say that something is wrong, and nothing private."""
    label = queries.label_for_code(label_code)
    if label is None:
        raise Http404
    form = PublicReportForm(**sent(request))
    if form.is_valid() and _taken_in(request, form, label):
        response = redirect(f"{request.path}?sent=1")
    else:
        context = {"form": form, "machine": label.machine, "thanks": "sent" in request.GET and not form.is_bound}
        response = render(request, "machines/labels/report.html", context, status=422 if form.is_bound else 200)
    response["X-Robots-Tag"] = "noindex, nofollow"
    response["Referrer-Policy"] = "same-origin"
    response["Cache-Control"] = "no-store"
    return response


def _taken_in(request: HttpRequest, form: PublicReportForm, label: Label) -> bool:
    """Whether the report counts as sent. Programs that fill in every field are thanked and forgotten."""
    report = dict(form.cleaned_data)
    if report.pop("website"):
        return True
    return accepted(form, actions.report_from_label, label=label, address=address_of(request), **report, at=now())
