"""Pages of faults: reporting one, marking one as fixed."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from machines.cabinets.models import Machine
from machines.faults import actions, queries
from machines.faults.forms import FaultForm, FixForm
from routeapp.kit.access import EVERYONE, OWNER, ROUTE_HAND, allow
from routeapp.kit.clock import now
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done


@allow(*EVERYONE)
def fault_add(request: HttpRequest, code: str) -> HttpResponse:
    machine, moment = get_object_or_404(Machine, code=code), now()
    form = FaultForm(**sent(request))
    if form.is_valid() and accepted(
        form,
        actions.report_fault,
        machine=machine,
        **form.cleaned_data,
        by=request.user,
        at=moment,
        received_at=moment,
    ):
        return done(request, f"The fault of {machine} was noted.", "cabinet", machine.code)
    return ask(request, "machines/faults/fault_add.html", form, machine=machine)


@allow(OWNER, ROUTE_HAND)
def fault_fix(request: HttpRequest, pk: int) -> HttpResponse:
    fault, moment = get_object_or_404(queries.faults(), pk=pk), now()
    if fault.fixed_at:
        return done(request, f"{fault.fixed_by} marked this fault as fixed already.", "faults")
    form, lifts = FixForm(**sent(request)), queries.back_in_order(fault, moment)
    if form.is_valid() and accepted(
        form, actions.fix_fault, fault=fault, **form.cleaned_data, by=request.user, at=moment, received_at=moment
    ):
        return done(request, f"The fault of {fault.machine} is fixed.", "faults")
    return ask(request, "machines/faults/fault_fix.html", form, fault=fault, machine=fault.machine, lifts=lifts)
