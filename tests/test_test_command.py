"""`manage.py test` itself: what counts as failed, and what it says it left out."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
HERE = ["tests/test_house.py", "-n", "0"]


def run(*arguments, **environment):
    done = subprocess.run(
        [sys.executable, "manage.py", "test", "--engine", "sqlite", *arguments],
        cwd=ROOT,
        env={name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")} | environment,
        capture_output=True,
        text=True,
    )
    return done.returncode, done.stdout


def test_a_run_that_finds_nothing_has_failed():
    code, said = run(*HERE, "-k", "no_such_test")
    assert (code, said.splitlines()[-1].startswith("SQLite FAILED: ")) == (5, True)


def test_pytest_has_the_last_word():
    code, said = run(*HERE, "-k", "kit_is_the_leaf")
    assert (code, "1 passed, " in said.splitlines()[-1]) == (0, True)


def test_missing_browser_is_said_aloud(tmp_path):
    _, said = run(*HERE, "-k", "kit_is_the_leaf", PATH=str(tmp_path))
    assert said.splitlines()[-4:-1] == [
        "NOT RUN:",
        "  ! Browser tests: Chromium is missing. On Debian and Ubuntu this brings it: "
        "sudo apt-get install --yes chromium",
        "",
    ]
