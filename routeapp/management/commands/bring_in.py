"""`python3 manage.py bring_in FILE.zip`: what was taken out of another installation, into this empty one."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from routeapp.data.export.actions_bring_in import bring_in
from routeapp.kit import clock
from routeapp.kit.errors import Refused
from routeapp.team.queries import active_owners


class Command(BaseCommand):
    help = "Bring a zip that take_out made into this installation, which has to be empty. All of it, or nothing."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("file", type=Path, metavar="FILE.zip")

    def handle(self, file: Path, **options: Any) -> None:
        try:
            with file.open("rb") as opened:
                rows = bring_in(file=opened, size=file.stat().st_size, at=clock.now(), say=self.say)
        except OSError as problem:
            raise CommandError(f"{file} could not be read: {problem.strerror}. Nothing was changed here.") from None
        except Refused as refusal:
            raise CommandError(refusal.message) from None
        owners = ", ".join(active_owners().order_by("pk").values_list("username", flat=True))
        self.say(f"{sum(rows.values())} rows are in the books. Nobody has a password yet. Let an owner in with:")
        self.say(f"    python3 manage.py owner NAME        (owners are: {owners or 'none'})")

    def say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
