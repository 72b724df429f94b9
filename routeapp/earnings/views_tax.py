"""The tax inside the takes of some days. It shows which rule was used and never what is due by law."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from routeapp.earnings import rules
from routeapp.earnings.forms import QuarterForm
from routeapp.earnings.queries_tax import tax_by_month
from routeapp.kit import clock
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.tables import Column, Table

TAXES = Table(
    "tax inside the takes",
    (
        Column("month", "Month", lambda one: f"{one.month:%B %Y}", order=False),
        Column("place", "Place", "place"),
        Column("treatment", "A play counts as", "treatment"),
        Column("take", "Take", "take", "cash", adds_up=True),
        Column("net", "Without tax", "line.net", "cash", adds_up=True),
        Column("tax", "Tax inside", "line.tax", "cash", adds_up=True),
        Column("rule", "Rule", "line.rule.words"),
        Column("source", "Written in", "line.rule.source"),
    ),
    hint="Place, rule or month",
)


@allow(OWNER, BOOKKEEPER)
def tax_summary(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate(clock.now())
    form = QuarterForm(request.GET, today=today)
    found = tax_by_month(form.span)
    context = {
        "form": form,
        "names": rules.NAMED,
        "when": rules.in_words(form.span, today),
        "tax": sum(one.line.tax for one in found if one.line),
        "without": sum(one.take for one in found if not one.line),
    }
    return TAXES.answer(request, "routeapp/earnings/tax_summary.html", found, **context)
