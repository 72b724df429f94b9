"""`python3 manage.py owner NAME`: make the first owner, or let one back in who lost the password."""

import getpass
import sys
from typing import Any

from django.contrib.auth.forms import UsernameField
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from routeapp.kit import clock
from routeapp.kit.errors import Refused
from routeapp.team import actions


class Command(BaseCommand):
    help = "Make an owner who can sign in, or give one a new password. Makes the business where there is none."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("name", help="the user name to sign in with")
        parser.add_argument("--password-stdin", action="store_true", help="read the password from standard input")

    def handle(self, name: str, password_stdin: bool, **options: Any) -> None:
        try:
            username = UsernameField(max_length=150, validators=[UnicodeUsernameValidator()]).clean(name)
            password = sys.stdin.readline().rstrip("\n") if password_stdin else asked_twice()
            person = actions.make_owner(username=username, password=password, at=clock.now())
        except ValidationError as problem:
            raise CommandError(" ".join(problem.messages)) from None
        except Refused as refusal:
            raise CommandError(refusal.message) from None
        self.stdout.write(f"{person.username} is an owner and can sign in.")


def asked_twice() -> str:
    """A password typed blind, twice the same."""
    password = getpass.getpass("Password (at least 10 characters): ")
    if password != getpass.getpass("The same once more: "):
        raise CommandError("The two passwords differ. Nothing was changed.")
    return password
