"""A line that loses, doubles and cuts, and a server killed in between: the small version of `bench sync-faults`."""

import json
import os
import subprocess
import sys

import pytest
from django.conf import settings


@pytest.mark.sqlite_only
def test_every_visit_arrives_once_over_a_bad_line_to_a_server_that_is_killed(tmp_path):
    environment = os.environ | {
        "DJANGO_SETTINGS_MODULE": "tests.bench.settings",
        "KEYROUND_DATA": str(tmp_path),
        "DATABASE_URL": f"sqlite:///{tmp_path / 'keyround.sqlite3'}",
    }
    command = [sys.executable, "-m", "tests.bench", "sync_faults", "60", "2"]

    done = subprocess.run(command, cwd=settings.ROOT, env=environment, capture_output=True, text=True)

    assert done.returncode == 0, done.stderr[-2000:]
    said = json.loads(done.stdout)
    assert said["faults"] > 0
    outcome = {name: said[name] for name in ("visits", "kills", "lost", "doubled", "books_equal")}
    assert outcome == {"visits": 60, "kills": 2, "lost": 0, "doubled": 0, "books_equal": True}
