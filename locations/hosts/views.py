"""Pages of hosts and their contacts."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from locations.hosts import actions, queries
from locations.hosts.forms import ContactForm, HostForm
from locations.hosts.models import Contact, Host
from routeapp.kit import clock, htmx
from routeapp.kit.access import EVERYONE, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.tables import Column, Table

HOSTS = Table(
    "hosts",
    (
        Column("name", "Host", "name", link=lambda host: reverse("host", args=[host.pk])),
        Column("contacts", "Contacts", lambda host: ", ".join(map(str, host.contacts.all())), order=False),
        Column("locations", "Locations", "open_locations", "count"),
    ),
    hint="Host or contact",
)


@allow(*EVERYONE)
def hosts(request: HttpRequest) -> HttpResponse:
    return HOSTS.answer(request, "locations/hosts/host_list.html", queries.hosts)


@allow(*EVERYONE)
def host(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Host.objects.prefetch_related("contacts"), pk=pk)
    context = {"host": found, "locations": queries.locations_of(found)}
    return htmx.page(request, "locations/hosts/host_page.html", context)


@allow(*EVERYONE)
def host_add(request: HttpRequest) -> HttpResponse:
    form = HostForm(**sent(request))
    if form.is_valid() and (
        made := accepted(form, actions.add_host, **form.cleaned_data, by=request.user, at=clock.now())
    ):
        return htmx.done(request, f"{made} is added. Whom do you talk to there?", "host", made.pk)
    return _form(request, form, "Add a host")


@allow(*EVERYONE)
def host_edit(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Host, pk=pk)
    form = HostForm(**sent(request), instance=found)
    said = {"host": found, "by": request.user, "at": clock.now()}
    if form.is_valid() and accepted(form, actions.edit_host, **form.cleaned_data, **said):
        return htmx.done(request, "Saved.", "host", pk)
    return _form(request, form, "Change the host", found)


@allow(*EVERYONE)
def contact_add(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Host, pk=pk)
    form = ContactForm(**sent(request))
    if form.is_valid():
        made = actions.add_contact(host=found, **form.cleaned_data, by=request.user, at=clock.now())
        return htmx.done(request, f"{made} is added.", "host", pk)
    return _form(request, form, f"Add a contact at {found}", found)


@allow(*EVERYONE)
def contact_edit(request: HttpRequest, pk: int) -> HttpResponse:
    contact = get_object_or_404(Contact.objects.select_related("host"), pk=pk)
    if request.method == "POST" and "remove" in request.POST:
        actions.remove_contact(contact=contact, by=request.user, at=clock.now())
        return htmx.done(request, f"{contact} is removed.", "host", contact.host_id)
    form = ContactForm(**sent(request), instance=contact)
    if form.is_valid():
        actions.edit_contact(contact=contact, **form.cleaned_data, by=request.user, at=clock.now())
        return htmx.done(request, "Saved.", "host", contact.host_id)
    return _form(request, form, f"Contact at {contact.host}", contact.host, removable=True)


def _form(
    request: HttpRequest, form: HostForm | ContactForm, title: str, host: Host | None = None, removable: bool = False
) -> HttpResponse:
    return htmx.ask(request, "locations/hosts/host_form.html", form, title=title, host=host, removable=removable)
