"""The first page of an empty installation. Whoever opens it becomes the owner, so only this very computer may."""

from ipaddress import ip_address

from django.contrib import messages
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.debug import sensitive_post_parameters

from routeapp.kit import clock
from routeapp.kit.access import PUBLIC, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask
from routeapp.kit.senders import address_of
from routeapp.team.actions_welcome import begin
from routeapp.team.forms_welcome import WelcomeForm
from routeapp.team.queries import nobody_yet

BACKEND = "django.contrib.auth.backends.ModelBackend"


@allow(PUBLIC)
@sensitive_post_parameters()
def welcome(request: HttpRequest) -> HttpResponse:
    if not nobody_yet():
        return redirect("sign-in")
    if not ip_address(address_of(request)).is_loopback:
        messages.warning(
            request, "Only the computer that runs Keyround can set it up on a page. Use the command below."
        )
        return redirect("sign-in")
    form = WelcomeForm(**sent(request))
    if form.is_valid() and (person := accepted(form, begin, **form.cleaned_data, by=None, at=clock.now())):
        login(request, person, backend=BACKEND)
        return redirect("today")
    return ask(request, "routeapp/team/welcome.html", form)
