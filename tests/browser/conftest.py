"""A real Chromium the size of a small phone, against the real pages."""

import os
import shutil

import pytest
from playwright.sync_api import expect, sync_playwright

from routeapp.models import Business
from tests import factories
from tests.browser.line import Line, Phone

# Playwright keeps an event loop in the thread that also asks the database; nothing here is asynchronous.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
PHONE = {"width": 360, "height": 740}
PATIENCE = 15_000  # milliseconds; a computer that does much else at once answers late
expect.set_options(timeout=PATIENCE)


@pytest.fixture(scope="session")
def chromium():
    path = next(found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name)))
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture
def open_phone(chromium, live_server):
    """A fresh phone (a browser context of its own) whose page complains about every script error."""
    phones = []

    def start(**options):
        context = chromium.new_context(base_url=live_server.url, viewport=PHONE, has_touch=True, **options)
        context.set_default_timeout(PATIENCE)
        phones.append(context)
        page = context.new_page()
        page.errors = []
        page.on("pageerror", lambda error: page.errors.append(str(error)))
        page.on("console", lambda said: page.errors.append(said.text) if said.type == "error" else None)
        return page

    yield start
    for context in phones:
        context.close()


@pytest.fixture
def line(live_server):
    made = Line(int(live_server.url.rpartition(":")[2]))
    yield made
    made.close()


@pytest.fixture
def new_phone(chromium, line, tmp_path):
    """Turns on a phone that reaches the server by `line` and keeps what it holds when its browser is killed."""
    phones = []
    path = next(found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name)))

    def start(**options):
        told = {"args": QUIET, "viewport": PHONE, "has_touch": True, **options}
        phones.append(Phone(chromium.browser_type, path, told, tmp_path / f"phone-{len(phones)}", line.url))
        return phones[-1]

    yield start
    for phone in phones:
        phone.context.close()


def sign_in(page, username):
    page.fill("input[name=username]", username)
    page.fill("input[name=password]", factories.PASSWORD)
    page.click("main button")
    page.wait_for_url(lambda address: "/sign-in/" not in address)
    page.wait_for_load_state("load")


@pytest.fixture
def business(transactional_db):
    return Business.objects.create(pk=1, name="Pier Nine Amusements", currency="USD", time_zone="America/Chicago")
