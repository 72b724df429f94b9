"""`python3 manage.py bench [NAME]`: the benches of tests/bench, one JSON object a line, each in a fresh folder."""

import os
import pkgutil
import secrets
import subprocess
import sys
import tempfile
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

FOLDER = settings.ROOT / "tests" / "bench"


def benches() -> list[str]:
    """The modules that are a bench, with dashes as people write them."""
    modules = [module.name for module in pkgutil.iter_modules([str(FOLDER)]) if not module.ispkg]
    return [name.replace("_", "-") for name in modules if "def run(" in (FOLDER / f"{name}.py").read_text()]


class Command(BaseCommand):
    help = "Measure speed and weight against bare baselines. Without a name, every bench runs."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("names", nargs="*", metavar="NAME", help=f"one or more of: {', '.join(benches())}")
        parser.add_argument("--with", dest="more", metavar="WORD", help="told to the bench: a size, a folder")

    def handle(self, names: list[str], more: str | None = None, **options: Any) -> None:
        if unknown := set(names) - set(benches()):
            raise CommandError(f"There is no bench {min(unknown)}. There are: {', '.join(benches())}.")
        failed = [name for name in names or benches() if not measured(name, *([more] if more else []))]
        if failed:
            raise CommandError(f"Did not finish: {', '.join(failed)}.")


def measured(name: str, *more: str) -> bool:
    """Run one bench in a process of its own with an empty database, as in production: no debug, a secret."""
    with tempfile.TemporaryDirectory(dir=settings.DATA, prefix="bench-") as folder:
        environment = os.environ | {
            "DJANGO_SETTINGS_MODULE": "tests.bench.settings",
            "KEYROUND_DATA": folder,
            "KEYROUND_DEBUG": "0",
            "KEYROUND_SECRET_KEY": secrets.token_urlsafe(50),
            "OPENBLAS_NUM_THREADS": "1",  # threads of many small sums get in each other's way
        }
        environment.pop("DATABASE_URL", None)
        command = [sys.executable, "-m", "tests.bench", name.replace("-", "_"), *more]
        return subprocess.run(command, cwd=settings.ROOT, env=environment, check=False).returncode == 0
