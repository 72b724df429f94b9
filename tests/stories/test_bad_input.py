"""Nothing a person, a program or a broken phone sends breaks a page, and what is refused leaves nothing behind."""

import random
import re

import pytest
from django.db import transaction
from django.test import Client

from routeapp.kit.access import BOOKKEEPER, OWNER
from tests import factories
from tests.stories import bad_input

pytestmark = pytest.mark.django_db
SEED = 20_260_601  # the same choice in every run, so that what fails once fails again


@pytest.fixture
def world(owner):
    return bad_input.make_everything(owner)


def client_of(role):
    client = Client()
    if role:
        person = factories.person(role.replace(" ", ""), role)
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


class Prober:
    """Sends requests, undoes what each of them did, and notes what may not be."""

    def __init__(self, client):
        self.client, self.wrong, self.rows = client, [], bad_input.rows()

    def send(self, method, address, body="", **headers):
        path, _, query = address.partition("?")
        cookies = {name: morsel.value for name, morsel in self.client.cookies.items()}
        with transaction.atomic():
            self.client.raise_request_exception = False
            form = "application/x-www-form-urlencoded"
            answer = self.client.generic(method, path, body, form, QUERY_STRING=query, **headers)
            self._look(f"{method} {address[:200]} {body[-200:]}", answer)
            transaction.set_rollback(True)
        self.client.cookies.load(cookies)
        return answer

    def _look(self, sent, answer):
        words = answer.getvalue()
        if answer.status_code >= 500 or (answer.status_code in bad_input.REFUSED and not words.strip()):
            self.wrong.append((answer.status_code, sent))
        elif bad_input.SCRIPT in words or "X-Made-Up" in answer.headers:
            self.wrong.append(("not escaped", sent))
        elif answer.status_code in bad_input.REFUSED and bad_input.rows() != self.rows:
            self.wrong.append(("refused, and yet written", sent))


@pytest.mark.parametrize("role", [OWNER, None])
def test_addresses_with_odd_parts_are_answered_with_words(world, role):
    choice, prober = random.Random(SEED), Prober(client_of(role))
    for _, route in sorted(bad_input.routes()):
        for kind in choice.sample(sorted(bad_input.VALUES), 2) if "<" in route else ():
            prober.send("GET", "/" + re.sub(r"<\w+:\w+>", bad_input.VALUES[kind][:300], route))
    assert prober.wrong == []


@pytest.mark.any_engine
@pytest.mark.parametrize("role", [OWNER, BOOKKEEPER, None])
def test_addresses_asked_for_in_other_ways_are_answered_with_words(world, role):
    choice, prober = random.Random(SEED), Prober(client_of(role))
    for _, address in bad_input.addresses(world):
        prober.send(choice.choice(["PUT", "DELETE", "PATCH", "POST", "GET"]), address)
        if role != BOOKKEEPER:
            prober.send("GET", address, HTTP_HX_REQUEST="true", HTTP_HX_CURRENT_URL="http://[::1")
    assert prober.wrong == []


def test_odd_questions_in_addresses_are_answered_with_words(world):
    names = [
        "q",
        "page",
        "person",
        "before",
        "cabinet",
        "location",
        "place",
        "prize",
        "again",
        "number",
        "first",
        "last",
    ]
    choice, prober = random.Random(SEED), Prober(client_of(OWNER))
    for _, address in bad_input.addresses(world):
        asked = [(name, bad_input.VALUES[choice.choice(sorted(bad_input.VALUES))][:2000]) for name in names]
        prober.send("GET", f"{address}?" + "&".join(f"{name}={value}" for name, value in asked))
    assert prober.wrong == []


def test_odd_values_in_fields_of_each_form_are_answered_with_words(world):
    choice, prober, seen = random.Random(SEED), Prober(client_of(OWNER)), set()
    for _, address in bad_input.addresses(world):
        page = prober.send("GET", address)
        if not page.headers.get("Content-Type", "").startswith("text/html"):
            continue
        for method, action, fields, files in bad_input.Forms(page.content.decode()).forms:
            to = (action or address).partition("?")[0] if method == "get" else action or address
            if (shape := (method, to, *fields)) in seen or to == "/sign-out/":
                continue
            seen.add(shape)
            for field in choice.sample([*fields, *files], min(3 if method == "post" else 1, len(fields) + len(files))):
                body = bad_input.body_with(fields, field, bad_input.VALUES[choice.choice(sorted(bad_input.VALUES))])
                if method == "post":
                    prober.send("POST", to, body)
                else:
                    prober.send("GET", f"{to}?{body[:4000]}")
            for kind in choice.sample(sorted(bad_input.VALUES), 2) if method == "post" else ():
                prober.send("POST", to, "&".join(f"{name}={bad_input.VALUES[kind][:3000]}" for name in fields))
    assert prober.wrong == []
