"""The project's own environment in ``.venv``: made once, used without internet from then on.

Standard library only, for a machine with nothing but Python and this clone. Packages are those of ``requirements.lock``, and
pip takes no file whose sum is not in it. The environment is brought up to date when that file or ``pyproject.toml`` changes, and
made anew when Python or the place of the clone does.
"""

from __future__ import annotations

import sys

if sys.version_info < (3, 11):  # noqa: UP036 - before anything that an older Python lacks
    sys.exit("netwatch needs Python 3.11 or newer; this is Python %d.%d." % sys.version_info[:2])  # noqa: UP031

import hashlib
import importlib.util
import json
import os
import subprocess
import sysconfig
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
PLACE = ROOT / ".venv"
WHEELS = ROOT / "wheels"
"""Wheels that ``start.py --pack`` kept, for machines without internet."""
LOCK = ROOT / "requirements.lock"
STAMP = PLACE / "made-from.json"
"""Written last, so that an environment that was half made is not used."""

OFFLINE_SIGNS = ("NewConnectionError", "ConnectTimeoutError", "name resolution", "Network is unreachable", "from versions: none")
"""What pip says when it can't reach the index."""
HASHES_SIGN = "DO NOT MATCH THE HASHES"
"""What it says of a file that is not the one that was locked."""


def run(arguments: list[str]) -> NoReturn:
    """Run Python in the environment with these arguments; ends with its exit code."""
    python = ready()
    sys.stdout.flush()
    # -P: what lies in the current folder is not imported by accident.
    command = [str(python), "-P", *arguments]
    if os.name == "posix":
        os.execv(command[0], command)
    try:
        sys.exit(subprocess.call(command))
    except KeyboardInterrupt:
        sys.exit(130)


def ready() -> Path:
    """The environment's Python; makes or updates the environment first where that is needed."""
    python = PLACE / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    wanted, found = _wanted(), _found()
    if found == wanted:
        return python
    usable = bool(found) and {**found, "pyproject": ""} == {**wanted, "pyproject": ""}
    needs = "from the wheels in wheels/" if _kept_for() == kind() else "needs internet"
    _say("Updating" if usable else "Making", f"the environment in .venv (once, {needs}, a minute or two) ... ")
    problem = None if usable else _make()
    problem = problem or _install(python)
    if problem is None:
        STAMP.write_text(json.dumps(wanted), encoding="utf-8")
        _say("done.\n")
    elif usable:
        _say(f"not done.\n{problem} Going on with the packages from before.\n")
    else:
        _say("not done.\n")
        sys.exit(problem)
    return python


def _wanted() -> dict[str, str]:
    """What the environment has to be made from."""
    return {
        "python": f"{sys.version_info.major}.{sys.version_info.minor} {sys.base_prefix}",
        "place": str(PLACE),
        "pyproject": hashlib.sha256((ROOT / "pyproject.toml").read_bytes() + LOCK.read_bytes()).hexdigest(),
    }


def _found() -> dict[str, str]:
    """What the environment was made from; empty = there is none that can be used."""
    try:
        found = json.loads(STAMP.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _make() -> str | None:
    """An empty environment with pip; a sentence if that fails."""
    if any(importlib.util.find_spec(name) is None for name in ("venv", "ensurepip")):
        return "This Python can't make environments; on Debian or Ubuntu install the package python3-venv and try again."
    if not os.access(ROOT, os.W_OK):
        return f"The folder {ROOT} can't be written to; put the clone where you may write."
    made = _quiet([sys.executable, "-m", "venv", "--clear", str(PLACE)])
    return made and f"The environment could not be made ({_last_line(made)}); is the disk full?"


def kind() -> dict[str, str]:
    """What wheels depend on: Python's version, system and processor."""
    return {"python": f"{sys.version_info.major}.{sys.version_info.minor}", "platform": sysconfig.get_platform()}


def _install(python: Path) -> str | None:
    """The packages of the lock file, and netwatch itself, in place; a sentence if that fails.

    From the wheels that were kept, if they are for this kind of machine and hold all; else from the internet.
    """
    wanted = ("install", "--require-hashes", "--requirement", str(LOCK))
    kept = ("--no-index", "--find-links", str(WHEELS))
    if _kept_for() != kind() or pip(python, *wanted, *kept) is not None:
        problem = pip(python, *wanted)
        if problem is not None:
            return problem
    # What it is built with is in the lock file, too: nothing more is fetched.
    return pip(python, "install", "--no-deps", "--no-build-isolation", "--no-index", "--editable", str(ROOT))


def _kept_for() -> object:
    try:
        return json.loads((WHEELS / "made-for.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def pip(python: Path, *arguments: str) -> str | None:
    """Run pip; a sentence if that fails."""
    options = ["--quiet", "--no-input", "--disable-pip-version-check", "--retries", "2"]
    failed = _quiet([str(python), "-m", "pip", arguments[0], *options, *arguments[1:]])
    if failed is None:
        return None
    if any(sign in failed for sign in OFFLINE_SIGNS):
        return "The packages could not be fetched; connect this machine to the internet once and try again."
    if HASHES_SIGN in failed:
        return ("A package is not the one that requirements.lock knows by its sum, so nothing was installed; "
                "try another connection, and tell whoever gave you netwatch.")  # fmt: skip
    return f"The packages could not be installed ({_last_line(failed)})."


def _quiet(command: list[str]) -> str | None:
    """Run a command without its output; what it said if it failed."""
    try:
        done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, errors="replace", check=False)
    except OSError as error:
        return str(error)
    except KeyboardInterrupt:
        sys.exit(130)
    return None if done.returncode == 0 else done.stdout + done.stderr or "it gave no reason"


def _last_line(text: str) -> str:
    return text.strip().splitlines()[-1]


def _say(*words: str) -> None:
    """To standard error: standard output belongs to what is run."""
    print(*words, end="", file=sys.stderr, flush=True)
