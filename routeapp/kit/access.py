"""Who may open which page. Every view says so itself; a view that says nothing is closed to everyone."""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

from django.contrib import messages
from django.contrib.auth.models import Group
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import resolve_url
from django.utils.cache import patch_cache_control
from django.utils.http import url_has_allowed_host_and_scheme

from routeapp.kit.prepared import Prepared

OWNER, ROUTE_HAND, BOOKKEEPER = "owner", "route hand", "bookkeeper"
ROLES = (OWNER, ROUTE_HAND, BOOKKEEPER)
EVERYONE = (*ROLES,)
PUBLIC = "public"


def allow(*roles: str) -> Callable:
    """Open a view to these roles (or to PUBLIC, which means no sign-in at all)."""

    def mark(view: Any) -> Any:
        view.roles = frozenset(roles)
        return view

    return mark


def roles_of(user: Any) -> frozenset[str]:
    """The roles of a person, read once per request and kept on the user object."""
    if not hasattr(user, "_roles"):
        user._roles = frozenset(name for (name,) in _roles_of(user.pk)) if user.is_authenticated else frozenset()
    return user._roles


_roles_of = Prepared(lambda user: Group.objects.filter(user=user).order_by().values_list("name"), int)


def may(user: Any, *roles: str) -> bool:
    return bool(roles_of(user) & set(roles))


class AccessMiddleware:
    """Default deny: signed-out people go to the sign-in page, the wrong role gets 403."""

    def __init__(self, get_response: Callable) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.user.is_authenticated and not response.has_header("Cache-Control"):
            # Asked for anew each time: the next person at this screen may not see it. Going back still works.
            patch_cache_control(response, private=True, no_cache=True)
        return response

    def process_view(self, request: HttpRequest, view: Callable, args: Any, kwargs: Any) -> HttpResponse | None:
        allowed: frozenset[str] = getattr(view, "roles", frozenset())
        if PUBLIC in allowed:
            return None
        if not request.user.is_authenticated:
            return self.ask_to_sign_in(request)
        if not roles_of(request.user) & allowed:
            raise PermissionDenied
        return None

    def ask_to_sign_in(self, request: HttpRequest) -> HttpResponse:
        if request.path.startswith("/sync/"):
            return JsonResponse({"error": "signed out", "message": "Sign in again; nothing was lost."}, status=401)
        # Only an address that can be opened again is worth coming back to.
        openable = request.method == "GET" and not request.htmx
        target = request.get_full_path() if openable else _sent_from(request) or resolve_url("today")
        if request.method == "POST":
            messages.warning(request, "You were signed out meanwhile and nothing was saved. Sign in and send it again.")
        if request.htmx:
            response = HttpResponse(status=204)
            response["HX-Redirect"] = redirect_to_login(_page_of(request) or target).url
            return response
        return redirect_to_login(target)


def _sent_from(request: HttpRequest) -> str | None:
    """The page of ours that a form was sent from."""
    page = request.headers.get("Referer", "")
    if not url_has_allowed_host_and_scheme(page, {request.get_host()}):
        return None
    return urlsplit(page)._replace(scheme="", netloc="").geturl()


def _page_of(request: HttpRequest) -> str | None:
    """The page that htmx says it asks from; None where what it says is no address."""
    try:
        return request.htmx.current_url_abs_path
    except ValueError:
        return None
