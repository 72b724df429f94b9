"""Signing in and out, the people and the business, the log, and the way to all of it."""

from django.contrib.auth import get_user_model, update_session_auth_hash, views
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.debug import sensitive_post_parameters

from routeapp.kit import clock, htmx
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, PUBLIC, allow
from routeapp.kit.forms import accepted, sent
from routeapp.kit.people import called
from routeapp.kit.tables import Column, Table, person
from routeapp.team import actions, queries
from routeapp.team.forms import BusinessForm, LogFilter, NewPersonForm, OwnPasswordForm, PersonForm, SignInForm


class SignIn(views.LoginView):
    template_name = "routeapp/team/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True
    extra_context = {"nobody_yet": queries.nobody_yet}

    def form_invalid(self, form: SignInForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


sign_in = allow(PUBLIC)(SignIn.as_view())
sign_out = allow(PUBLIC)(views.LogoutView.as_view())  # also for somebody whose role was taken away


@allow(*EVERYONE)
def setup(request: HttpRequest) -> HttpResponse:
    return render(request, "routeapp/team/setup.html")


PEOPLE = Table(
    "people",
    (
        Column(
            "name",
            "Name",
            called,
            order="first_name",
            link=lambda one: reverse("person-edit", args=[one.pk]),
        ),
        Column("role", "Role", lambda one: ", ".join(group.name for group in one.groups.all()), order=False),
        Column("username", "Signs in as", "username"),
        Column("last", "Last in", "last_login", "moment"),
        Column(
            "may",
            "State",
            lambda one: "" if one.is_active else "may not sign in",
            "state",
            order=False,
            shape=lambda one: "none",
        ),
    ),
    find=("first_name", "last_name", "username"),
    hint="Name",
)


@allow(OWNER)
def people(request: HttpRequest) -> HttpResponse:
    return PEOPLE.answer(request, "routeapp/team/people.html", queries.people())


@allow(OWNER)
def person_add(request: HttpRequest) -> HttpResponse:
    form = NewPersonForm(**sent(request))
    if form.is_valid() and accepted(form, actions.add_person, **form.cleaned_data, by=request.user, at=clock.now()):
        return htmx.done(request, f"{form.cleaned_data['name']} can sign in now.", "people")
    return htmx.page(request, "routeapp/team/person_add.html", {"form": form}, status=422 if form.is_bound else 200)


@allow(OWNER)
def person_edit(request: HttpRequest, pk: int) -> HttpResponse:
    person = get_object_or_404(get_user_model(), pk=pk)
    form = PersonForm(**sent(request), initial=PersonForm.about(person))
    if form.is_valid() and accepted(
        form, actions.edit_person, person=person, **form.cleaned_data, by=request.user, at=clock.now()
    ):
        if person == request.user:  # a new password would otherwise sign the owner out of this very page
            update_session_auth_hash(request, get_user_model().objects.get(pk=pk))
        return htmx.done(request, f"{form.cleaned_data['name']}: saved.", "people")
    context = {"form": form, "person": person}
    return htmx.page(request, "routeapp/team/person_edit.html", context, status=422 if form.is_bound else 200)


@allow(*EVERYONE)
@sensitive_post_parameters()
def own_password(request: HttpRequest) -> HttpResponse:
    form = OwnPasswordForm(**sent(request))
    who = {"person": request.user, "by": request.user, "at": clock.now()}
    if form.is_valid() and accepted(form, actions.change_password, **form.cleaned_data, **who):
        update_session_auth_hash(request, get_user_model().objects.get(pk=request.user.pk))
        return htmx.done(request, "Your password is changed.", "setup")
    return htmx.page(request, "routeapp/team/own_password.html", {"form": form}, status=422 if form.is_bound else 200)


@allow(OWNER)
def business_edit(request: HttpRequest) -> HttpResponse:
    now = {name: getattr(request.business, name) for name in ("name", "currency", "time_zone", "units", "contact")}
    form = BusinessForm(**sent(request), initial=now)
    if form.is_valid() and accepted(form, actions.edit_business, **form.cleaned_data, by=request.user, at=clock.now()):
        return htmx.done(request, "The business is saved.", "setup")
    return htmx.page(request, "routeapp/team/business_edit.html", {"form": form}, status=422 if form.is_bound else 200)


LOG = Table(
    "who did what",
    (
        Column("when", "When", "action_time", "moment"),
        Column("who", "Who", person("user")),
        Column("what", "Did what", "change_message"),
        Column("sort", "To what", "content_type.name"),
        Column("name", "Which", "object_repr"),
    ),
    find=("change_message", "object_repr", "user__first_name", "user__last_name", "user__username"),
    hint="What was done, or to what",
    endless=True,
)


@allow(OWNER, BOOKKEEPER)
def audit(request: HttpRequest) -> HttpResponse:
    form = LogFilter(request.GET)
    return LOG.answer(request, "routeapp/team/audit.html", queries.log_lines(form.chosen()), form=form)
