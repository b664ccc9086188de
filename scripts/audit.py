"""Are the packages that run here the ones that were locked, unchanged, and may they be given away together with netwatch?

    .venv/bin/python scripts/audit.py

Needs no internet. Known weaknesses are another matter: where pip-audit is installed it is asked, too, and that needs internet.
"""

from __future__ import annotations

import base64
import csv
import hashlib
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
LOCK = ROOT / "requirements.lock"
MAY = frozenset(
    {
        "MIT", "BSD", "BSD-2-Clause", "BSD-3-Clause", "0BSD", "ISC", "Zlib", "CC0-1.0", "PSF-2.0", "GPL-2.0-only",
        "GPL-2.0-or-later",
    }
)
"""Licences that may go together with GPL-2.0-only (FSF's list of compatible licences; from memory)."""
_CLASSIFIERS = {
    "OSI Approved :: MIT License": "MIT",
    "OSI Approved :: BSD License": "BSD",
    "OSI Approved :: ISC License (ISCL)": "ISC",
}


def main() -> None:
    """Say what is not as it should be; ends with 1 where something isn't."""
    direct = asked("dependencies")
    found = [*lacking(), *drifted(), *(each for name in runtime(direct) for each in changed(name)), *foreign(direct)]
    for sentence in found:
        print(sentence)
    print(f"{len(locked())} packages are locked, {len(runtime(direct))} run with netwatch: "
          + (f"{len(found)} things are wrong." if found else "all as locked, unchanged, free to be given on."))  # fmt: skip
    tool = shutil.which("pip-audit", path=str(Path(sys.executable).parent))
    if tool is None:
        print("Known weaknesses were not looked up: pip-audit is not installed here.")
    elif subprocess.run([tool, "--require-hashes", "--disable-pip", "--requirement", str(LOCK)], check=False).returncode:
        sys.exit(1)
    sys.exit(bool(found))


def locked() -> dict[str, set[str]]:
    """Versions by name; some packages have one for older and one for newer Pythons."""
    pins: dict[str, set[str]] = {}
    for name, version in re.findall(r"^([A-Za-z0-9._-]+)==([^\s;\\]+)", LOCK.read_text(encoding="utf-8"), re.MULTILINE):
        pins.setdefault(canonicalize_name(name), set()).add(version)
    return pins


def asked(*extras: str) -> list[Requirement]:
    """What pyproject.toml asks for: 'dependencies', 'test', 'build'."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    told = {"dependencies": project["project"]["dependencies"], "build": project["build-system"]["requires"],
            **project["project"]["optional-dependencies"]}  # fmt: skip
    return [Requirement(each) for extra in extras for each in told[extra]]


def lacking() -> Iterator[str]:
    """What pyproject.toml asks for and the lock file does not hold."""
    pins = locked()
    for each in asked("dependencies", "test", "build"):
        versions = pins.get(canonicalize_name(each.name), set())
        if not versions or not all(each.specifier.contains(version, prereleases=True) for version in versions):
            yield f"{each} is not in requirements.lock; run scripts/lock.py --keep."


def drifted() -> Iterator[str]:
    """Installed versions that are not the locked ones."""
    for name, versions in locked().items():
        here = _installed(name)
        if here is not None and here.version not in versions:
            yield f"{name} {here.version} is installed, locked is {' or '.join(sorted(versions))}."


def runtime(direct: list[Requirement]) -> list[str]:
    """Names of all packages that netwatch runs with on this machine, what they need themselves included."""
    names: dict[str, None] = {}
    waiting = [each for each in direct if _wanted(each, "")]
    while waiting:
        each = waiting.pop()
        name, here = canonicalize_name(each.name), _installed(each.name)
        if name in names or here is None:
            continue
        names[name] = None
        needs = map(Requirement, here.requires or ())
        waiting += [need for need in needs if any(_wanted(need, extra) for extra in (*each.extras, ""))]
    return sorted(names)


def _wanted(each: Requirement, extra: str) -> bool:
    return each.marker is None or each.marker.evaluate({"extra": extra})


def _installed(name: str) -> Distribution | None:
    try:
        return distribution(name)
    except PackageNotFoundError:
        return None


def changed(name: str) -> Iterator[str]:
    """Files of a package that are not what its own list says (the format of RECORD: PEP 376, PEP 427)."""
    here = distribution(name)
    for path, told, _ in csv.reader((here.read_text("RECORD") or "").splitlines()):
        kind, _, digest = told.partition("=")
        if not digest:
            continue
        file = Path(str(here.locate_file(path)))
        own = hashlib.new(kind, file.read_bytes()).digest() if file.is_file() else b""
        if base64.urlsafe_b64encode(own).rstrip(b"=").decode() != digest:
            yield f"{name}: {path} is not the file that was installed."


def licences(name: str) -> set[str]:
    """What a package says of its licence, in SPDX terms where it does."""
    told = distribution(name).metadata
    expression = told.get("License-Expression") or ""
    if expression:
        return set(re.split(r"\s+(?:AND|OR)\s+", expression.strip("()")))
    classified = {_CLASSIFIERS.get(each.removeprefix("License :: "), each) for each in told.get_all("Classifier") or ()
                  if each.startswith("License :: OSI")}  # fmt: skip
    return classified or {told.get("License") or "none told"}


def foreign(direct: list[Requirement]) -> Iterator[str]:
    """Licences that may not go together with ours, or that nobody has looked at."""
    for name in runtime(direct):
        if not licences(name) <= MAY:
            yield f"{name}: its licence ({', '.join(sorted(licences(name)))}) is not known to go together with GPL-2.0-only."


if __name__ == "__main__":
    main()
