"""What an accountant asks for at the end of a year."""

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from routeapp.books import queries_year as queries
from routeapp.books.forms import year_of
from routeapp.books.rules_returns import threshold
from routeapp.kit import clock, money
from routeapp.kit.access import BOOKKEEPER, OWNER, allow
from routeapp.kit.tables import Column, Table

REPORTED = {True: "at or above", False: "below", None: ""}

HOSTS = Table(
    "paid to hosts",
    (
        Column("host", "Host", "host.name", link=lambda one: reverse("host", args=[one.host.pk])),
        Column("cents", "Paid in all", "cents", "cash", adds_up=True),
        Column("reported", "Against the threshold", lambda one: REPORTED[one.reported]),
    ),
    hint="Host",
)


@allow(OWNER, BOOKKEEPER)
def year_end(request: HttpRequest, year: int) -> HttpResponse:
    if year_of(year, timezone.localdate(clock.now())) is None:
        raise Http404
    limit = threshold(year, money.active())
    stock, taxed = queries.in_stock(year), queries.by_jurisdiction(year)
    context = {
        "year": year,
        "limit": limit,
        "stock": stock,
        "stock_cents": sum(one.cents for one in stock),
        "taxed": taxed,
    }
    hosts = queries.paid_to_hosts(year, limit.cents if limit else None)
    return HOSTS.answer(request, "routeapp/books/year_end.html", hosts, **context)
