"""Pages of the models of cabinet."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from machines.cabinets import actions, queries
from machines.cabinets.forms import ModelForm
from machines.cabinets.models import CabinetModel
from routeapp.kit.access import EVERYONE, OWNER, allow, may
from routeapp.kit.clock import now
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done
from routeapp.kit.tables import Column, Table


def _table(link: Any = None) -> Table:
    columns = (
        Column("name", "Model", "name", link=link),
        Column("kind", "Kind", "get_kind_display", order="kind"),
        Column("price", "A play", "price_cents", "cash"),
        Column("holds", "Prizes inside", "prize_capacity", "count"),
        Column("owned", "Cabinets", "owned", "count"),
    )
    return Table("models", columns, find=("name",), hint="Name of a model")


MODELS, MODELS_TO_EDIT = _table(), _table(lambda model: reverse("model-edit", args=[model.pk]))


@allow(*EVERYONE)
def model_list(request: HttpRequest) -> HttpResponse:
    table = MODELS_TO_EDIT if may(request.user, OWNER) else MODELS
    return table.answer(request, "machines/cabinets/model_list.html", queries.cabinet_models())


@allow(OWNER)
def model_add(request: HttpRequest) -> HttpResponse:
    form = ModelForm(**sent(request))
    if form.is_valid() and accepted(form, actions.add_model, **form.cleaned_data, by=request.user, at=now()):
        name, first = form.cleaned_data["name"], queries.newest_cabinet() is None
        return done(request, f"{name} was added.{' Now add a cabinet.' * first}", "cabinet-add" if first else "models")
    return ask(request, "machines/cabinets/model_form.html", form, title="Add a model", button="Add the model")


@allow(OWNER)
def model_edit(request: HttpRequest, pk: int) -> HttpResponse:
    model = get_object_or_404(CabinetModel, pk=pk)
    form = ModelForm(**sent(request), instance=model)
    if form.is_valid() and accepted(
        form, actions.change_model, model=model, **form.cleaned_data, by=request.user, at=now()
    ):
        return done(request, f"{form.cleaned_data['name']} was changed.", "models")
    return ask(request, "machines/cabinets/model_form.html", form, title="Change the model", button="Save")
