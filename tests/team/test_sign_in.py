"""Signing in, being sent away, coming back, and what every answer carries."""

from datetime import timedelta
from urllib.parse import quote

import pytest
from django.urls import reverse
from django.utils import timezone

from tests.factories import PASSWORD

SIGNED_IN = "_auth_user_id"


def sign_in(client, username="ines", password=PASSWORD, to="/sign-in/", **data):
    return client.post(to, {"username": username, "password": password, **data})


@pytest.fixture
def signed_out(client, owner):
    return client


def test_scanned_page_is_returned_to(signed_out):
    asked = signed_out.get("/people/?x=1")
    assert asked.headers["Location"] == "/sign-in/?next=/people/%3Fx%3D1"
    assert sign_in(signed_out, to=asked.headers["Location"]).headers["Location"] == "/people/?x=1"


@pytest.mark.parametrize(
    ("sent_from", "goes_on"),
    [
        ("http://testserver/people/add/?x=1", "/people/add/%3Fx%3D1"),
        ("https://elsewhere.example/people/add/", "/"),
        ("http://[::1", "/"),
        ("", "/"),
    ],
)
def test_form_sent_after_signing_out_leads_back_to_its_page(signed_out, sent_from, goes_on):
    asked = signed_out.post("/people/add/", {}, headers={"Referer": sent_from})
    assert asked.headers["Location"] == f"/sign-in/?next={goes_on}"
    assert "nothing was saved" in signed_out.get(asked.headers["Location"]).content.decode()


def test_the_form_carries_where_to_go_on(signed_out):
    page = signed_out.get("/sign-in/?next=/people/").content.decode()
    assert '<input type="hidden" name="next" value="/people/">' in page


@pytest.mark.parametrize(
    "elsewhere",
    ["https://evil.example/", "//evil.example/", "/\\evil.example", "javascript:alert(1)", "http:///evil.example"],
)
def test_foreign_page_is_not_followed(signed_out, elsewhere):
    assert sign_in(signed_out, next=elsewhere).headers["Location"] == reverse("today")
    assert sign_in(signed_out, to=f"/sign-in/?next={elsewhere}").headers["Location"] == reverse("today")


def test_somebody_signed_in_is_sent_on(owner_client):
    assert owner_client.get("/sign-in/?next=/people/").headers["Location"] == "/people/"


@pytest.mark.parametrize(("username", "password"), [("ines", "wrong"), ("nobody", PASSWORD), ("left", PASSWORD)])
def test_refusal_says_nothing_about_who_exists(signed_out, django_user_model, username, password):
    django_user_model.objects.create_user("left", password=PASSWORD, is_active=False)
    answer = sign_in(signed_out, username, password)
    assert answer.status_code == 422
    assert answer.context["form"].non_field_errors() == [
        "That user name and password do not belong together. Mind capital letters and try again."
    ]


@pytest.mark.parametrize("text", ["", "%00", "x" * 10_000, quote("ünï' OR 1=1 --"), "%FF%FE"])
def test_strange_input_is_answered(signed_out, text):
    sent = f"username={text}&password={text}"
    answer = signed_out.post("/sign-in/", sent, content_type="application/x-www-form-urlencoded")
    assert answer.status_code == 422


def test_many_wrong_passwords_close_the_door_for_a_while(signed_out, settings):
    for _ in range(settings.AXES_FAILURE_LIMIT):
        answer = sign_in(signed_out, password="wrong")
    assert answer.status_code == 429
    assert "routeapp/team/locked_out.html" in [template.name for template in answer.templates]
    assert sign_in(signed_out).status_code == 429
    assert SIGNED_IN not in signed_out.session


def test_others_can_still_sign_in_meanwhile(signed_out, route_hand, settings):
    for _ in range(settings.AXES_FAILURE_LIMIT):
        sign_in(signed_out, password="wrong")
    assert sign_in(signed_out, "tomas").status_code == 302


def test_sign_out_takes_a_post(owner_client):
    assert owner_client.get("/sign-out/").status_code == 405
    assert owner_client.post("/sign-out/").headers["Location"] == "/sign-in/"
    assert SIGNED_IN not in owner_client.session


@pytest.mark.parametrize("since_before_days_were_noted", [True, False])
@pytest.mark.parametrize(("days", "status"), [((29, 50, 79), 200), ((29, 60), 302)])
def test_who_comes_back_within_thirty_days_stays_signed_in(
    signed_out, monkeypatch, days, status, since_before_days_were_noted
):
    began = timezone.now()
    sign_in(signed_out)
    if since_before_days_were_noted:
        session = signed_out.session
        del session["day"]
        session.save()
    for later in days:
        monkeypatch.setattr(timezone, "now", lambda later=later: began + timedelta(days=later))
        answer = signed_out.get("/due/")

    assert answer.status_code == status


def test_person_who_may_no_longer_sign_in_is_out_at_once(owner_client, owner):
    owner.is_active = False
    owner.save(update_fields=["is_active"])
    assert owner_client.get("/people/").headers["Location"] == "/sign-in/?next=/people/"


def test_fields_are_named_for_password_managers(signed_out):
    fields = signed_out.get("/sign-in/").context["form"].fields
    said = {name: field.widget_attrs(field.widget) | field.widget.attrs for name, field in fields.items()}
    assert said["username"]["autocomplete"] == "username"
    assert said["username"]["autocapitalize"] == "none"
    assert said["password"]["autocomplete"] == "current-password"


def test_first_visit_says_how_to_make_the_first_owner(client, db):
    assert "python3 manage.py owner NAME" in client.get("/sign-in/").content.decode()


def test_signed_out_fragment_leads_the_whole_page_to_sign_in(client, db):
    seen = {"HX-Request": "true", "HX-Current-URL": "http://testserver/audit/?person=1"}
    answer = client.get("/audit/", headers=seen)
    assert (answer.status_code, answer.headers["HX-Redirect"]) == (204, "/sign-in/?next=/audit/%3Fperson%3D1")


def test_signed_out_post_comes_back_to_today(client, db):
    assert client.post("/business/", {"name": "x"}).headers["Location"] == f"/sign-in/?next={reverse('today')}"


@pytest.mark.parametrize("method", ["get", "post"])
def test_signed_out_sync_is_answered_in_json(client, db, method):
    answer = getattr(client, method)("/sync/me/")
    assert (answer.status_code, answer.json()["error"]) == (401, "signed out")


@pytest.mark.parametrize("address", ["/sign-in/", "/no/such/page/"])
def test_every_answer_forbids_what_pages_do_not_need(client, db, address):
    headers = client.get(address).headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"
    assert dict(rule.split(" ", 1) for rule in headers["Content-Security-Policy"].split("; ")) == {
        "default-src": "'none'",
        "script-src": "'self'",
        "style-src": "'self'",
        "img-src": "'self' data: blob:",
        "connect-src": "'self'",
        "manifest-src": "'self'",
        "worker-src": "'self'",
        "form-action": "'self'",
        "frame-ancestors": "'none'",
        "base-uri": "'none'",
    }
