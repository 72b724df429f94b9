"""Pages of cabinets: adding and changing one, its photo, its status, its settings."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag

from machines.cabinets import actions, queries
from machines.cabinets.forms import CabinetForm, NewCabinetForm, SettingsForm, StatusForm, initial_from
from machines.cabinets.forms_meters import TickedMeterForm
from machines.cabinets.models import Counts, Machine
from routeapp.kit.access import EVERYONE, OWNER, ROUTE_HAND, allow
from routeapp.kit.clock import now
from routeapp.kit.files import kept_file
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done


def machine_or_404(code: str) -> Machine:
    return get_object_or_404(Machine.objects.select_related("model"), code=code)


@allow(OWNER)
def cabinet_add(request: HttpRequest) -> HttpResponse:
    form = NewCabinetForm(**sent(request), initial=initial_from(queries.newest_cabinet(), queries.next_code()))
    meters = [TickedMeterForm(**sent(request), counts=counts) for counts in Counts]
    valid = all([form.is_valid(), *[meter.is_valid() for meter in meters]])
    if valid and accepted(
        form,
        actions.add_cabinet,
        **form.cleaned_data,
        meters=[meter.new_meter() for meter in meters if meter.cleaned_data["fitted"]],
        by=request.user,
        at=now(),
        received_at=now(),
    ):
        return done(request, f"{form.cleaned_data['code']} was added.", "cabinet", form.cleaned_data["code"])
    return ask(
        request,
        "machines/cabinets/cabinet_add.html",
        form,
        meters=meters,
        title="Add a cabinet",
        button="Add the cabinet",
    )


@allow(OWNER)
def cabinet_edit(request: HttpRequest, code: str) -> HttpResponse:
    machine = machine_or_404(code)
    names = ["code", "model", "serial", "notes"]
    initial = {name: machine.serializable_value(name) for name in names}
    form = CabinetForm(**sent(request), initial=initial)
    if form.is_valid() and accepted(
        form, actions.change_cabinet, machine=machine, **form.cleaned_data, by=request.user, at=now()
    ):
        return done(request, f"{form.cleaned_data['code']} was changed.", "cabinet", form.cleaned_data["code"])
    return ask(
        request, "machines/cabinets/cabinet_edit.html", form, machine=machine, title="Change the cabinet", button="Save"
    )


@allow(*EVERYONE)
def cabinet_photo(request: HttpRequest, code: str) -> HttpResponse:
    machine = machine_or_404(code)
    response = kept_file(machine.photo, lasting=False)
    response["ETag"] = quote_etag(machine.photo.name)
    return get_conditional_response(request, etag=response["ETag"], response=response)


@allow(OWNER, ROUTE_HAND)
def cabinet_status(request: HttpRequest, code: str) -> HttpResponse:
    machine, moment = machine_or_404(code), now()
    history = queries.status_history(machine)
    newest = history.first()
    form = StatusForm(
        **sent(request),
        **when(request, moment),
        newest=newest.at if newest else None,
        initial={"status": machine.status},
    )
    if form.is_valid() and accepted(
        form, actions.change_status, machine=machine, **form.cleaned_data, by=request.user, received_at=moment
    ):
        return done(request, f"The status of {machine} was changed.", "cabinet", machine.code)
    context = {"machine": machine, "history": history, "title": "Status", "button": "Save the status"}
    return ask(request, "machines/cabinets/status_change.html", form, **context)


@allow(OWNER, ROUTE_HAND)
def cabinet_settings(request: HttpRequest, code: str) -> HttpResponse:
    machine, moment = machine_or_404(code), now()
    current = queries.current_settings(machine)
    form = SettingsForm(**sent(request), **when(request, moment), current=current)
    if form.is_valid() and accepted(
        form,
        actions.change_settings,
        machine=machine,
        **form.changes(),
        by=request.user,
        at=form.cleaned_data["at"],
        received_at=moment,
    ):
        return done(request, f"The settings of {machine} were changed.", "cabinet", machine.code)
    context = {"machine": machine, "current": current, "history": queries.settings_history(machine)}
    context |= {"title": "Settings", "button": "Save the settings"}
    return ask(request, "machines/cabinets/settings_change.html", form, **context)


def when(request: HttpRequest, moment: Any) -> dict[str, Any]:
    """What a MomentForm needs to know about the present and the place."""
    return {"now": moment, "zone": request.business.time_zone}
