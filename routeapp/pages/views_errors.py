"""Pages for what went wrong: each says what happened, what was kept and what to do."""

from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils.http import escape_leading_slashes


def show(request: HttpRequest, status: int, title: str, text: str) -> HttpResponse:
    if request.path.startswith("/sync/"):
        return JsonResponse({"error": title, "message": text}, status=status)
    again = escape_leading_slashes(request.path) if request.method == "POST" and status in (400, 413) else ""
    return render(request, "routeapp/pages/problem.html", {"title": title, "text": text, "again": again}, status=status)


def csrf_failed(request: HttpRequest, reason: str = "") -> HttpResponse:
    text = "Nothing was saved, and what you typed is still in the form. Go back, reload the page and send it again."
    return show(request, 403, "This form is from an earlier sign-in", text)


def bad_request(request: HttpRequest, exception: Any = None) -> HttpResponse:
    text = "Something in it could not be read. Nothing was saved. Go back and try again, with fewer or smaller files."
    return show(request, 400, "That could not be taken in", text)


def not_allowed(request: HttpRequest, exception: Any = None) -> HttpResponse:
    text = "Your role does not include this page. The owner can change that under Setup, People."
    return show(request, 403, "Not for your role", text)


def not_found(request: HttpRequest, exception: Any = None) -> HttpResponse:
    person = getattr(request, "user", None)
    if person and person.is_authenticated:
        text = "Check the address, or look for it with the search above."
    else:
        text = "Check the address. A label that was replaced leads nowhere: tell the staff where the cabinet stands."
    return show(request, 404, "There is nothing here", text)


def wrong_method(request: HttpRequest) -> HttpResponse:
    text = "This address only takes what a button of ours sends. Nothing was changed. Go back and use the button there."
    return show(request, 405, "There is no page here", text)


def broken(request: HttpRequest) -> HttpResponse:
    text = "This is our mistake, not yours. Nothing was half-saved: go back, and what you typed should still be there."
    return show(request, 500, "Something broke", text)


def busy(request: HttpRequest) -> HttpResponse:
    said = (
        "Somebody else is saving much, such as a spreadsheet, or the very same things, and nothing of this was saved."
    )
    text = f"{said} Go back, where what you typed still stands, and send it again in a minute."
    return show(request, 503, "Not saved: the books are busy", text)


def too_large(request: HttpRequest, most: int) -> HttpResponse:
    said = f"It is larger than {most // 1024**2} MB, so it was not read and nothing was saved."
    text = f"{said} Go back and send fewer or smaller files."
    return show(request, 413, "That is too much at once", text)
