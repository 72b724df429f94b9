"""What people read when something went wrong: with a business, without one, signed in or not."""

import pytest
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.db import OperationalError
from django.http import HttpResponse
from django.middleware.csrf import get_token
from django.test import Client, RequestFactory
from psycopg.errors import AdminShutdown, DeadlockDetected, LockNotAvailable

from routeapp.pages import views_errors
from routeapp.pages.middleware import WordsMiddleware

pytestmark = pytest.mark.django_db

HANDLERS = [
    (views_errors.bad_request, 400, "could not be taken in"),
    (views_errors.not_allowed, 403, "Not for your role"),
    (views_errors.csrf_failed, 403, "Nothing was saved"),
    (views_errors.not_found, 404, "There is nothing here"),
    (views_errors.broken, 500, "This is our mistake"),
]


@pytest.mark.parametrize(("handler", "status", "said"), HANDLERS)
@pytest.mark.parametrize("path", ["/", "/sync/visits/"])
def test_handler_speaks_without_a_business_or_a_person(handler, status, said, path):
    """Middleware may have failed before either was there."""
    response = handler(RequestFactory().get(path))

    assert response.status_code == status
    assert said in response.content.decode()


@pytest.mark.parametrize(("handler", "status", "said"), HANDLERS)
def test_handler_speaks_to_a_stranger(handler, status, said):
    request = RequestFactory().get("/")
    request.user = AnonymousUser()
    get_token(request)

    assert said in handler(request).content.decode()


def test_page_that_is_not_there(owner_client):
    response = owner_client.get("/no/such/page/")

    assert response.status_code == 404
    assert "There is nothing here" in response.content.decode()


def test_stranger_with_a_label_that_was_replaced_is_told_what_to_do(client):
    text = client.get("/m/C12N7MEDCQYYKEVT/").content.decode()

    assert ("tell the staff" in text, "search above" in text, "Today" in text) == (True, False, False)


def test_page_of_another_role(hand_client):
    response = hand_client.get("/people/")

    assert response.status_code == 403
    assert "Not for your role" in response.content.decode()


def test_form_from_an_earlier_sign_in(owner):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    response = browser.post("/people/add/", {"name": "Somebody"})

    assert response.status_code == 403
    assert "Nothing was saved" in response.content.decode()


@pytest.mark.parametrize("path", ["/\0/", "/%ff/", "/m/%ff/", "/cabinets/%00/"])
def test_address_nobody_can_read(owner_client, path):
    assert owner_client.get(path).status_code in (400, 404)


def test_broken_page_answers_with_words(owner, settings, monkeypatch):
    from routeapp.pages import urls

    def broken(request):
        raise RuntimeError

    browser = Client(raise_request_exception=False)
    browser.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    monkeypatch.setattr(urls.urlpatterns[0], "callback", broken)
    broken.roles = frozenset({"owner"})
    response = browser.get("/")

    assert response.status_code == 500
    assert "Nothing was half-saved" in response.content.decode()


def test_refusal_raised_in_a_view_is_the_403_page():
    assert views_errors.not_allowed(RequestFactory().get("/"), PermissionDenied()).status_code == 403


@pytest.mark.parametrize(("cause", "status"), [(DeadlockDetected, 503), (LockNotAvailable, 503), (AdminShutdown, None)])
def test_who_waited_in_vain_on_postgresql_may_send_again(cause, status):
    problem = OperationalError("as the database words it")
    problem.__cause__ = cause()

    answer = WordsMiddleware(HttpResponse).process_exception(RequestFactory().post("/sync/visits/"), problem)

    assert (answer and answer.status_code) == status
