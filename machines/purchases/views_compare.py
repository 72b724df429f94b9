"""The page that compares quotes for a purpose."""

from django.http import HttpRequest, HttpResponse

from machines.purchases.forms_compare import CompareForm
from machines.purchases.queries_compare import comparable_quotes, compare
from machines.purchases.views import today
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.htmx import page

MOST_OFFERED = 50


@allow(OWNER, BOOKKEEPER)
def comparison(request: HttpRequest) -> HttpResponse:
    offered = list(comparable_quotes(today(request))[:MOST_OFFERED])
    form = CompareForm(request.GET, offered=offered)
    valid = form.is_valid()
    found = None
    if valid:
        found = compare(form.cleaned_data["quotes"], form.purpose(), today(request), request.business.time_zone)
    context = {"form": form, "found": found, "valid": valid, "any": bool(offered)}
    return page(request, "machines/purchases/compare.html", context)
