"""What past days would have paid a host under other terms."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from locations.agreements.forms import TermsForm, typed_as
from locations.agreements.rules import terms_in_words
from locations.sites.models import Location
from routeapp.earnings import rules
from routeapp.earnings.forms import YearForm
from routeapp.earnings.queries_trial import meant, trial_of
from routeapp.kit import clock, htmx, sheets
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.tables import Column, Table

PRESENT = (
    Column("days", "Days", "days", order=False),
    Column("take", "Take", "take", "cash", adds_up=True),
    Column("present", "Present terms", "present", "cash", adds_up=True),
)
OTHER = (
    Column("other", "Other terms", "other", "cash", adds_up=True),
    Column("difference", "More or less", "difference", "cash", adds_up=True),
)


@allow(OWNER, BOOKKEEPER)
def trial(request: HttpRequest, pk: int) -> HttpResponse:
    location, now = get_object_or_404(Location.objects.select_related("host"), pk=pk), clock.now()
    today = clock.local_day(now, location.time_zone)
    span = YearForm(request.GET, today=today)
    typed = request.GET if request.GET.keys() & TermsForm.base_fields.keys() else None
    terms = TermsForm(typed)
    other = meant(location, span.span, terms.lines(), terms.chosen()) if terms.is_valid() else None
    found = trial_of(location, span.span, other)
    if typed is None and found.present:
        terms.initial = typed_as(found.present)
    table = Table("trial of terms", (*PRESENT, *(OTHER if other else ()))).shown(request.GET, found.rows)
    if request.GET.get("as") == "csv":
        return sheets.download(table.lines(), f"terms tried at {location}")
    context = {
        "table": table,
        "location": location,
        "form": span,
        "names": rules.NAMED,
        "when": rules.in_words(span.span, today),
        "terms": terms,
        "trial": found,
        "present": terms_in_words(found.present) if found.present else "nothing agreed",
        "other": terms_in_words(other) if other else "",
    }
    part = "rows" if request.htmx.target == "rows" else "report"
    return htmx.page(request, "routeapp/earnings/trial.html", context, part)
