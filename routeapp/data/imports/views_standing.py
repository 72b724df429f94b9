"""Cabinets that stand somewhere already, one after the other."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from machines.cabinets.queries import newest_cabinet
from routeapp.data.imports.actions_standing import add_standing
from routeapp.data.imports.forms_standing import StandingForm
from routeapp.kit import clock
from routeapp.kit.access import OWNER, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask


@allow(OWNER)
def standing_add(request: HttpRequest) -> HttpResponse:
    form = StandingForm(**sent(request), initial=StandingForm.like_the_last())
    if form.is_valid() and (made := accepted(form, add_standing, **form.said(), by=request.user, at=clock.now())):
        machine, new = made
        where = f"{machine} stands at {form.cleaned_data['location']}"
        messages.success(request, f"{where}. Write down the next one." if new else f"{where} already.")
        return redirect("standing-add")
    return ask(request, "routeapp/data/imports/standing.html", form, last=newest_cabinet())
