"""`python3 manage.py take_out FILE.zip`: everything that is in the books, with the photos, in one file."""

import os
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from routeapp.data.export.actions import take_out
from routeapp.kit import clock


class Command(BaseCommand):
    help = "Take everything out into one zip: CSV files, what they mean, photos, and a workbook to look at."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("file", type=Path, metavar="FILE.zip", help="a file that does not exist yet")

    def handle(self, file: Path, **options: Any) -> None:
        try:
            # For the owner alone: terms, takes and the contacts of hosts and players are in it.
            with open(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
                for piece in take_out(at=clock.now()):
                    out.write(piece)
        except FileExistsError:
            raise CommandError(f"{file} is there already and stays as it is. Name another file.") from None
        except OSError as problem:
            raise CommandError(f"{file} could not be written: {problem.strerror}.") from None
        self.stdout.write(f"Everything is in {file} ({file.stat().st_size / 1_000_000:.1f} MB). Passwords are not.")
