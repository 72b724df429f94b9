"""Pages of keys: which locks there are, how many copies of each key, and who holds them."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from machines.parts import actions_keys, queries
from machines.parts.forms import CopiesForm, HandOverForm, LockForm
from machines.parts.models import Key, Lock
from routeapp.kit.access import OWNER, ROUTE_HAND, allow
from routeapp.kit.clock import now
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done
from routeapp.kit.tables import Column, Table

ENOUGH = 2  # one in use and one in the safe


def _state(lock: Any) -> str:
    if lock.copies >= ENOUGH:
        return "Enough"
    return "More are ordered" if lock.ordered else "No key left" if not lock.copies else "Only one copy"


LOCKS = Table(
    "keys",
    (
        Column("lock", "Lock", str, order="name", link=lambda lock: reverse("key-lock", args=[lock.pk])),
        Column("copies", "Copies", "copies", "count"),
        Column(
            "state",
            "Enough",
            _state,
            "state",
            order=False,
            shape=lambda one: "good" if one.copies >= ENOUGH else "warn",
        ),
        Column("lost", "Lost", "lost", "count"),
        Column("on", "On", lambda lock: ", ".join(str(one) for one in lock.machines.all()), order=False),
    ),
    find=("name", "number", "machines__code"),
    hint="Lock, number or cabinet",
)


@allow(OWNER, ROUTE_HAND)
def key_list(request: HttpRequest) -> HttpResponse:
    return LOCKS.answer(request, "machines/parts/key_list.html", queries.locks().distinct())


@allow(OWNER, ROUTE_HAND)
def lock_add(request: HttpRequest) -> HttpResponse:
    form = LockForm(**sent(request))
    if form.is_valid() and accepted(
        form, actions_keys.save_lock, held=None, **form.cleaned_data, by=request.user, at=now()
    ):
        return done(request, f"{form.cleaned_data['name']} was added. Now say which keys there are.", "keys")
    return ask(request, "machines/parts/form.html", form, title="Add a lock", button="Add the lock")


@allow(OWNER, ROUTE_HAND)
def lock_edit(request: HttpRequest, pk: int) -> HttpResponse:
    lock = get_object_or_404(Lock, pk=pk)
    initial = {"name": lock.name, "number": lock.number, "machines": lock.machines.all()}
    form = LockForm(**sent(request), initial=initial)
    if form.is_valid() and accepted(
        form, actions_keys.save_lock, held=lock, **form.cleaned_data, by=request.user, at=now()
    ):
        return done(request, f"{form.cleaned_data['name']} was changed.", "key-lock", pk)
    return ask(request, "machines/parts/form.html", form, title="Change the lock", button="Save")


@allow(OWNER, ROUTE_HAND)
def lock_page(request: HttpRequest, pk: int) -> HttpResponse:
    lock = get_object_or_404(queries.locks(), pk=pk)
    form = CopiesForm(**sent(request))
    if form.is_valid() and accepted(
        form, actions_keys.add_copies, of=lock, **form.cleaned_data, by=request.user, at=now()
    ):
        return done(request, "The copies were added.", "key-lock", pk)
    copies = queries.copies_of([lock])[lock.pk]
    return ask(request, "machines/parts/lock_page.html", form, lock=lock, copies=copies, enough=lock.copies >= ENOUGH)


@allow(OWNER, ROUTE_HAND)
def key_hand_over(request: HttpRequest, pk: int) -> HttpResponse:
    key = get_object_or_404(Key.objects.select_related("lock"), pk=pk)
    form = HandOverForm(**sent(request))
    if form.is_valid() and accepted(
        form, actions_keys.hand_over, key=key, **form.cleaned_data, by=request.user, at=now()
    ):
        return done(request, f"{key}: written down.", "key-lock", key.lock_id)
    title = f"Where is {key}?"
    return ask(request, "machines/parts/form.html", form, title=title, button="Save", lock=key.lock)
