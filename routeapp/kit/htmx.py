"""Answers for htmx and for plain browsers from one view."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.cache import patch_vary_headers

from routeapp.kit.errors import Refused


class VaryMiddleware:
    """A fragment and its page share one address: caches must keep them apart."""

    def __init__(self, get_response: Callable) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        patch_vary_headers(response, ["HX-Request", "HX-History-Restore-Request"])
        return response


def wants_fragment(request: HttpRequest) -> bool:
    """True when htmx asks for a part; a back-button request gets the whole page."""
    return bool(request.htmx) and not request.htmx.history_restore_request


def page(
    request: HttpRequest, template: str, context: dict[str, Any], part: str = "", status: int = 200
) -> HttpResponse:
    """Render `template`, or only its partial `part` when htmx asked."""
    name = f"{template}#{part}" if part and wants_fragment(request) else template
    return render(request, name, context, status=status)


def waiting(request: HttpRequest, one: Any) -> HttpResponse | None:
    """What the page of a file answers while that is at work; None when it is not, and whoever waited reads it anew."""
    if one.is_at_work:
        tell_not_taken(request)
        return page(request, "parts/at_work.html", {"one": one}, part="state")
    if wants_fragment(request) and request.method == "GET":
        return HttpResponse(status=204, headers={"HX-Refresh": "true"})
    return None


def tell_not_taken(request: HttpRequest) -> None:
    """Say to whoever sends something about a file that is at work that it is not taken."""
    if request.method == "POST":
        said = "What you sent just now was not taken: the file is at work by what was said before."
        messages.warning(request, f"{said} If yours says something else, send it again when that is through.")


def done(request: HttpRequest, message: str, to: str, *args: Any, **kwargs: Any) -> HttpResponse:
    """After a POST that worked: say so and go on to another page, in htmx and without it."""
    messages.success(request, message)
    response = redirect(to, *args, **kwargs)
    if request.htmx:
        target, response = response.url, HttpResponse(status=204)
        response["HX-Redirect"] = target
    return response


def refused(request: HttpRequest, refusal: Refused, to: str, *args: Any) -> HttpResponse:
    """After a button whose work an action refused: say why, on the page it goes back to."""
    messages.error(request, refusal.message)
    return redirect(to, *args)


def ask(request: HttpRequest, template: str, form: Any, **context: Any) -> HttpResponse:
    """Show a form: with 200 when it was opened, with 422 when what was sent has to be mended."""
    return render(request, template, {"form": form, **context}, status=422 if form.is_bound else 200)
