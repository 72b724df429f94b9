"""Runs one bench in a process and a data folder of its own: `python -m tests.bench visit_write`.

What is said after the name goes to its `run`.
"""

import importlib
import json
import sys

import django
from django.core.management import call_command


def main(name: str, *more: str) -> None:
    django.setup()
    call_command("migrate", verbosity=0)
    call_command("collectstatic", verbosity=0, interactive=False, ignore_patterns=["admin"])
    importlib.import_module("routeapp.wsgi")  # as a server begins
    for line in importlib.import_module(f"tests.bench.{name}").run(*more):
        print(json.dumps({"bench": name.replace("_", "-"), **line}), flush=True)


main(*sys.argv[1:])
