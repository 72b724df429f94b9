"""Settings: nothing has to be set, and a real business cannot run on the secret everybody knows."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LONG = "a-long-random-text-of-our-own-0123456789-abcdefghijklmnopqrstuvwxyz"


def loaded(tmp_path, **environment):
    """What a process of its own says about the settings in this environment and no other."""
    show = "import routeapp.settings as s; print(s.DEBUG, s.DATABASES['default']['ENGINE'].split('.')[-1])"
    done = subprocess.run(
        [sys.executable, "-c", show],
        cwd=ROOT,
        env={"KEYROUND_DATA": str(tmp_path / "data"), **environment},
        capture_output=True,
        text=True,
    )
    return done.stdout.strip() or done.stderr.strip().splitlines()[-1]


def test_settings_need_no_environment(tmp_path):
    assert loaded(tmp_path) == "True sqlite3"


def test_database_url_chooses_the_engine(tmp_path):
    assert loaded(tmp_path, DATABASE_URL="postgresql://keyround@localhost/keyround") == "True postgresql"


@pytest.mark.parametrize("secret", [{}, {"KEYROUND_SECRET_KEY": "only-for-development-and-the-demo"}])
def test_default_secret_is_refused_where_it_matters(tmp_path, secret):
    assert loaded(tmp_path, KEYROUND_DEBUG="0", **secret) == (
        "django.core.exceptions.ImproperlyConfigured: KEYROUND_DEBUG is off: "
        "set KEYROUND_SECRET_KEY to a long random text of your own."
    )


def test_own_secret_is_taken(tmp_path):
    assert loaded(tmp_path, KEYROUND_DEBUG="0", KEYROUND_SECRET_KEY=LONG) == "False sqlite3"


def test_example_lists_every_variable():
    read = set(re.findall(r"environ\.get\(\"(\w+)\"", (ROOT / "routeapp/settings.py").read_text())) | {"DATABASE_URL"}
    listed = set(re.findall(r"^(?:# )?([A-Z_]+)=", (ROOT / ".env.example").read_text(), re.MULTILINE))
    assert listed == read


def test_server_says_what_is_missing_before_pages_can_be_shown(tmp_path):
    real = {"KEYROUND_DATA": str(tmp_path), "KEYROUND_DEBUG": "0", "KEYROUND_SECRET_KEY": LONG}
    serve = [sys.executable, "-c", "import routeapp.wsgi"]
    before = subprocess.run(serve, cwd=ROOT, env=real, capture_output=True, text=True)
    subprocess.run(
        [sys.executable, "manage.py", "collectstatic", "--no-input"],
        cwd=ROOT,
        env=real,
        check=True,
        capture_output=True,
    )
    after = subprocess.run(serve, cwd=ROOT, env=real, capture_output=True, text=True)

    assert (before.returncode, "collectstatic" in before.stderr, after.returncode) == (1, True, 0)
