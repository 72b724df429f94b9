"""Pages to add and change prizes, mixes, stores and vans."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_POST

from routeapp.kit.access import OWNER, ROUTE_HAND, allow
from routeapp.kit.clock import now
from routeapp.kit.errors import Refused
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, refused
from routeapp.kit.tables import Column, Table, person
from routeapp.stock import actions_goods as goods
from routeapp.stock import queries_overview as overview
from routeapp.stock.forms import MixForm, NewPlaceForm, PlaceForm, PrizeForm
from routeapp.stock.models import Mix, Place, PlaceKind, Prize
from routeapp.stock.queries import carrying_places, prizes_in_use


@allow(OWNER, ROUTE_HAND)
def prize_add(request: HttpRequest) -> HttpResponse:
    form = PrizeForm(**sent(request))
    if form.is_valid() and accepted(form, goods.add_prize, **form.cleaned_data, by=request.user, at=now()):
        return done(request, f"{form.cleaned_data['name']} was added. Now say how many came.", "delivery-add")
    return ask(request, "routeapp/stock/prize_form.html", form)


@allow(OWNER, ROUTE_HAND)
def prize_edit(request: HttpRequest, pk: int) -> HttpResponse:
    prize = get_object_or_404(Prize, pk=pk)
    name = prize.name  # a form that does not fit writes into the row it was given
    form = PrizeForm(**sent(request), instance=prize)
    if form.is_valid() and accepted(
        form, goods.change_prize, prize=prize, **form.cleaned_data, by=request.user, at=now()
    ):
        return done(request, f"{form.cleaned_data['name']} was changed.", "stock")
    return ask(request, "routeapp/stock/prize_form.html", form, prize=prize, name=name)


MIXES = Table(
    "mixes",
    (
        Column("name", "Mix", "name", link=lambda mix: reverse("mix-edit", args=[mix.pk])),
        Column(
            "prizes",
            "Prizes",
            lambda mix: ", ".join(f"{line.quantity:,} {line.prize}" for line in mix.lines.all()),
            order=False,
        ),
        Column("pieces", "Pieces", "pieces", "count"),
    ),
    hint="Mix or prize",
)


@allow(OWNER, ROUTE_HAND)
def mixes(request: HttpRequest) -> HttpResponse:
    return MIXES.answer(request, "routeapp/stock/mix_list.html", list(overview.mixes()))


@allow(OWNER, ROUTE_HAND)
def mix_add(request: HttpRequest) -> HttpResponse:
    form = MixForm(**sent(request), prizes=prizes_in_use(), beside={})
    if form.is_valid() and accepted(
        form, goods.make_mix, name=form.cleaned_data["name"], lines=form.lines(), by=request.user, at=now()
    ):
        return done(request, f"The mix {form.cleaned_data['name']} can be loaded now.", "mixes")
    return ask(request, "routeapp/stock/mix_form.html", form)


@allow(OWNER, ROUTE_HAND)
def mix_edit(request: HttpRequest, pk: int) -> HttpResponse:
    mix = get_object_or_404(Mix.objects.prefetch_related("lines"), pk=pk)
    lines = {line.prize_id: line.quantity for line in mix.lines.all()}
    form = MixForm(
        **sent(request),
        prizes=overview.prizes_of(lines),
        beside=lines,
        initial={"name": mix.name, **{f"prize-{prize}": pieces for prize, pieces in lines.items()}},
    )
    if form.is_valid() and accepted(
        form, goods.change_mix, mix=mix, name=form.cleaned_data["name"], lines=form.lines(), by=request.user, at=now()
    ):
        return done(
            request, f"{form.cleaned_data['name']} was changed. What was loaded before stays as it was.", "mixes"
        )
    return ask(request, "routeapp/stock/mix_form.html", form, mix=mix)


@allow(OWNER, ROUTE_HAND)
@require_POST
def mix_retire(request: HttpRequest, pk: int) -> HttpResponse:
    mix = get_object_or_404(Mix, pk=pk)
    try:
        goods.retire_mix(mix=mix, by=request.user, at=now())
    except Refused as refusal:
        return refused(request, refusal, "mixes")
    return done(request, f"{mix} is offered no longer.", "mixes")


def _moves(row: overview.InPlace) -> str:
    return f"{reverse('stock-moves')}?{f'place={row.place.pk}' if row.place else 'kind=cabinet'}"


def _do(name: str, label: str, way: Callable[[Place], str]) -> Column:
    """What can be done with a store or van; there is nothing to do with all cabinets together."""
    return Column(
        name,
        label,
        lambda row: label if row.place else "",
        "do",
        link=lambda row: way(row.place) if row.place else "",
    )


PLACES = Table(
    "stores and vans",
    (
        Column("name", "Place", lambda row: str(row.place or "All cabinets"), link=_moves),
        Column("whose", "Whose van", person("place.person")),
        Column("pieces", "Pieces", "pieces", "count", adds_up=True),
        Column("worth", "Worth", "worth", "cash", adds_up=True),
        _do("count", "Count", lambda place: f"{reverse('stock-count')}?place={place.pk}"),
        _do("move", "Move", lambda place: f"{reverse('stock-move')}?place={place.pk}"),
        _do("edit", "Edit", lambda place: reverse("place-edit", args=[place.pk])),
    ),
    hint="Place or person",
)


@allow(OWNER, ROUTE_HAND)
def places(request: HttpRequest) -> HttpResponse:
    columns = overview.overview().columns
    return PLACES.answer(request, "routeapp/stock/place_list.html", columns, only_cabinets=len(columns) < 2)


@allow(OWNER, ROUTE_HAND)
def place_add(request: HttpRequest) -> HttpResponse:
    form = NewPlaceForm(**sent(request))
    if form.is_valid() and accepted(form, goods.add_place, **form.cleaned_data, by=request.user, at=now()):
        return done(request, f"{form.cleaned_data['name']} was added.", "places")
    return ask(request, "routeapp/stock/place_form.html", form)


@allow(OWNER, ROUTE_HAND)
def place_edit(request: HttpRequest, pk: int) -> HttpResponse:
    place = get_object_or_404(carrying_places(), pk=pk)
    form = PlaceForm(**sent(request), initial={"name": place.name, "person": place.person_id})
    if place.kind == PlaceKind.STORE:
        del form.fields["person"]
    if form.is_valid() and accepted(
        form, goods.change_place, place=place, **form.cleaned_data, by=request.user, at=now()
    ):
        return done(request, f"{form.cleaned_data['name']} was changed.", "places")
    return ask(request, "routeapp/stock/place_form.html", form, place=place)
