"""A release in between: scripts and styles get other names while a visit is half entered."""

import os
import shutil
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from django.contrib.auth import get_user_model
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.db import connection
from playwright.sync_api import expect

from tests import factories
from tests.browser.conftest import sign_in
from tests.browser.test_offline_visit import at_rest, open_visit, prefix, ready, world

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
__all__ = ["world"]

ROOT = Path(__file__).resolve().parents[2]


class Served:
    """A copy of the project behind the real web server, with collected files, on the database of this test."""

    def __init__(self, folder, line):
        self.folder, self.line = folder, line
        for name in ("manage.py", "machines", "locations", "routeapp", "templates", "static"):
            path = ROOT / name
            (shutil.copytree if path.is_dir() else shutil.copy)(path, folder / name)
        database = connection.settings_dict["NAME"]
        told = {
            "KEYROUND_DEBUG": "0",
            "KEYROUND_SECRET_KEY": "one for this test",
            "DATABASE_URL": f"sqlite:///{database}",
        }
        self.environment = {**os.environ, **told, "KEYROUND_DATA": str(folder / "var"), "KEYROUND_HOSTS": "localhost"}
        self.process = None

    def start(self):
        collect = [sys.executable, "-m", "django", "collectstatic", "--no-input", "--verbosity=0"]
        settings = {"DJANGO_SETTINGS_MODULE": "routeapp.settings", "PYTHONPATH": str(self.folder)}
        subprocess.run(collect, cwd=self.folder, env={**self.environment, **settings}, check=True)
        serve = [sys.executable, "-m", "granian", "--interface=wsgi", "--no-ws", f"--port={self.line.behind}"]
        self.process = subprocess.Popen(
            [*serve, "routeapp.wsgi:application"],
            cwd=self.folder,
            env={**self.environment, **settings},
            stderr=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        )
        self.wait()

    def wait(self):
        while self.process.poll() is None:
            try:
                return urllib.request.urlopen(f"http://localhost:{self.line.behind}/healthz", timeout=1)
            except OSError:
                continue
        raise AssertionError("The server did not start.")

    def stop(self):
        if self.process:
            self.process.terminate()
            self.process.wait()


@pytest.fixture
def served(line, tmp_path, free_port):
    line.behind = free_port
    (tmp_path / "project").mkdir()
    made = Served(tmp_path / "project", line)
    yield made
    made.stop()


@pytest.fixture
def free_port():
    import socket

    with socket.socket() as found:
        found.bind(("localhost", 0))
        return found.getsockname()[1]


@pytest.mark.sqlite_only
def test_half_entered_visit_outlives_a_release(new_phone, line, world, served):
    # The server knows only passwords kept as the product keeps them, not the quick ones of the tests.
    get_user_model().objects.update(password=Argon2PasswordHasher().encode(factories.PASSWORD, "a lot of salt"))
    served.start()
    phone = new_phone()
    page, field = phone.page, f"[name={prefix(world)}-reading_{world.meters[0].pk}]"
    page.goto(f"/locations/{world.location.pk}/")
    sign_in(page, "tomas")
    page.click("text=Take along")
    expect(page.locator("[data-take] + span")).to_contain_text("On this phone")
    at_rest(page)
    open_visit(page, world)
    page.fill(field, "150")

    served.stop()
    with (served.folder / "static/offline/clock.js").open("a") as file:
        file.write("\n// Another release.\n")
    served.start()
    page.evaluate("navigator.serviceWorker.getRegistration().then((one) => one.update())")
    expect(page.locator("[data-update]")).to_be_visible()
    assert page.input_value(field) == "150"
    page.click("[data-update] button")
    ready(page)
    assert page.input_value(field) == "150"

    served.stop()
    open_visit(page, world)
    assert page.input_value(field) == "150"
    names = page.evaluate("caches.keys()")
    assert len(names) == 1
    assert page.errors == []
