"""Pages of the models of cabinet."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from machines.cabinets import actions, queries
from machines.cabinets.forms import ModelForm
from machines.cabinets.models import CabinetModel
from routeapp.kit.access import EVERYONE, OWNER, allow
from routeapp.kit.clock import now
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, page


@allow(*EVERYONE)
def model_list(request: HttpRequest) -> HttpResponse:
    return page(request, "machines/cabinets/model_list.html", {"models": queries.cabinet_models()})


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
