"""`python3 manage.py demo`: an invented business to look around in, with eighteen months behind it."""

import os
import secrets
import shutil
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from machines.labels.models import Label
from routeapp.data.demo.load import load
from routeapp.data.demo.names import PEOPLE
from routeapp.kit import clock
from routeapp.team.queries import nobody_yet

FOLDER = settings.ROOT / "var" / "demo"


class Command(BaseCommand):
    help = "Load the demo business into var/demo (the first time) and serve it. It never touches another database."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("--port", type=int, default=8000, help="where to serve, 8000 unless you say otherwise")
        parser.add_argument("--no-serve", action="store_true", help="load it and stop before serving")
        parser.add_argument("--fresh", action="store_true", help="forget what was done in the demo and start over")

    def handle(self, port: int, no_serve: bool, fresh: bool, **options: Any) -> None:
        refuse_foreign_database()
        if not no_serve:
            refuse_taken_port(port)
        if fresh:
            empty_folder()
        self.prepare()
        self.stdout.write(welcome(f"http://localhost:{port}"))
        if not no_serve:
            serve(port)

    def prepare(self) -> None:
        """Bring the tables up to date, and load the business when nobody is in it yet."""
        self.say("Preparing the tables ...")
        call_command("migrate", verbosity=0)
        if nobody_yet():
            load(now=clock.now(), say=self.say)

    def say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def refuse_foreign_database() -> None:
    """The demo writes to var/demo alone, whatever the environment says."""
    database = settings.DATABASES["default"]
    inside = database["ENGINE"].endswith("sqlite3") and Path(database["NAME"]).resolve().parent == FOLDER
    if not inside:
        raise CommandError(
            f"The demo only ever writes to {FOLDER}, but the settings point to another database. Nothing was "
            "changed. Start it with: python3 manage.py demo"
        )


def refuse_taken_port(port: int) -> None:
    if not 0 < port < 65_536:
        raise CommandError("A port is a number from 1 to 65535.")
    with socket.socket() as probe:
        if probe.connect_ex(("127.0.0.1", port)) == 0:
            raise CommandError(
                f"Something else answers on port {port}, perhaps another demo. Stop it, or choose another port: "
                f"python3 manage.py demo --port {port + 1}"
            )


def empty_folder() -> None:
    connection.close()
    for path in FOLDER.iterdir():
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()


def welcome(address: str) -> str:
    people = [f"  {one.role:<12} {one.username:<8} {one.password}" for one in PEOPLE]
    label = Label.objects.live().order_by("pk").first()
    stranger = ["", f"A label as a stranger sees it (signed out): {address}/m/{label.code}"] if label else []
    return "\n".join(["", f"The demo is at {address} (Ctrl-C ends it)", "", "Sign in as", *people, *stranger, ""])


def serve(port: int) -> None:
    """Run the web server as it runs for real: no debug pages, compressed files, a secret of its own. Ctrl-C ends it."""
    secret = FOLDER / "secret"
    if not secret.exists():
        secret.write_text(secrets.token_urlsafe(50))
    environment = os.environ | {
        "KEYROUND_DATA": str(FOLDER),
        "KEYROUND_DEBUG": "0",
        "KEYROUND_SECRET_KEY": secret.read_text(),
        "KEYROUND_PUBLIC_URL": f"http://localhost:{port}",
    }
    collect = [sys.executable, "manage.py", "collectstatic", "--noinput", "--verbosity=0", "--ignore=admin"]
    subprocess.run(collect, cwd=settings.ROOT, env=environment, check=True)
    if os.name == "nt":  # Windows has no exec that keeps the console.
        sys.exit(subprocess.run(server(port), cwd=settings.ROOT, env=environment).returncode)
    os.chdir(settings.ROOT)
    os.execve(sys.executable, server(port), environment)


def server(port: int) -> list[str]:
    """The web server. More threads would not be faster: they wait for one another at every question to SQLite."""
    options = [f"--port={port}", "--interface=wsgi", "--no-ws", "--workers=1", "--blocking-threads=2"]
    return [sys.executable, "-m", "granian", *options, "--log-level=warning", "routeapp.wsgi:application"]
