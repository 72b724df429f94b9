#!/usr/bin/env python3
"""The one way in. On a machine with nothing but Python it first makes its own virtual environment."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
VENV_PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
REQUIREMENTS = ROOT / "requirements.txt"


def in_virtual_environment() -> bool:
    return sys.prefix != sys.base_prefix


def make_virtual_environment() -> None:
    """Make .venv and install requirements.txt into it; does nothing when that was done already."""
    stamp = VENV / "requirements.sha256"
    wanted = hashlib.sha256(REQUIREMENTS.read_bytes()).hexdigest()
    if VENV_PYTHON.exists() and stamp.exists() and stamp.read_text() == wanted:
        return
    if not VENV_PYTHON.exists():
        print("Making .venv ...", flush=True)
        # --clear: what an interrupted first try left behind is not to be trusted.
        made = subprocess.run([sys.executable, "-m", "venv", "--clear", str(VENV)], capture_output=True, text=True)
        if made.returncode:
            sys.exit(
                f"{made.stdout}{made.stderr}\nPython's venv module is missing or incomplete. On Debian and Ubuntu "
                "this command brings it:\n\n    sudo apt-get install python3-venv\n\nThen run this again."
            )
    print("Installing requirements.txt into .venv (once, takes a minute) ...", flush=True)
    install = [str(VENV_PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    if subprocess.run([*install, "-r", str(REQUIREMENTS)]).returncode:
        sys.exit("The packages could not be installed; the lines above say which. Nothing else was changed.")
    stamp.write_text(wanted)


def run_in_virtual_environment() -> None:
    command = [str(VENV_PYTHON), str(ROOT / "manage.py"), *sys.argv[1:]]
    if os.name == "nt":  # Windows has no exec that keeps the console.
        sys.exit(subprocess.run(command).returncode)
    os.execv(command[0], command)


def main() -> None:
    if not in_virtual_environment():
        make_virtual_environment()
        run_in_virtual_environment()
    if sys.argv[1:2] == ["demo"]:
        # The demo has its own folder, so that it can never touch a real business.
        os.environ["KEYROUND_DATA"] = str(ROOT / "var" / "demo")
        os.environ.pop("DATABASE_URL", None)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "routeapp.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
