"""What a host sees under its link: its own settlements and nothing else. A wrong address tells nobody anything."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from locations.hosts.models import Host
from routeapp.kit.access import PUBLIC, allow
from routeapp.settlements import queries
from routeapp.settlements.models import Settlement
from routeapp.settlements.queries_accounts import accounts
from routeapp.settlements.queries_paper import shown
from routeapp.settlements.views_papers import answer_pdf


def _host(code: str) -> Host:
    found = queries.statement_host(code) if code.isascii() and code.isprintable() else None
    if found is None:
        raise Http404
    return found


def _paper(code: str, number: int) -> Settlement:
    papers = queries.settlements().filter(location__host=_host(code))
    return get_object_or_404(papers, number=number)


def _private(response: HttpResponse) -> HttpResponse:
    response["X-Robots-Tag"] = "noindex, nofollow"
    response["Referrer-Policy"] = "no-referrer"
    response["Cache-Control"] = "no-store"
    return response


@allow(PUBLIC)
def statement(request: HttpRequest, code: str) -> HttpResponse:
    host = _host(code)
    rows = [one for one in accounts(host) if one.issued_cents or one.paid_cents]
    papers = list(queries.settlements().filter(location__host=host).order_by("-number"))
    for one in papers:
        one.state = queries.state_of(one)
    owed = sum(one.owed_cents for one in rows)
    context = {"host": host, "rows": rows, "papers": papers, "code": code, "owed": owed, "beyond": -owed}
    return _private(render(request, "routeapp/settlements/statement.html", context))


@allow(PUBLIC)
def statement_paper(request: HttpRequest, code: str, number: int) -> HttpResponse:
    one = _paper(code, number)
    context = {"shown": shown(one), "one": one, "code": code, "state": queries.state_of(one)}
    return _private(render(request, "routeapp/settlements/statement_paper.html", context))


@allow(PUBLIC)
def statement_pdf(request: HttpRequest, code: str, number: int) -> HttpResponse:
    return _private(answer_pdf(_paper(code, number), request))
