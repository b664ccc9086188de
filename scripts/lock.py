"""Makes ``requirements.lock`` anew: all packages that a start, a test or a build installs, each version with its sums.

    .venv/bin/pip install uv
    .venv/bin/python scripts/lock.py              the newest versions that pyproject.toml allows
    .venv/bin/python scripts/lock.py --keep       only what pyproject.toml newly asks for

One file serves every system and every Python from the oldest that pyproject.toml names on. Look at what changed before you
commit it.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib

import environment

OPTIONS = ["--universal", "--generate-hashes", "--no-header", "--no-annotate", "--extra", "test", "--only-binary", ":all:"]


def main() -> None:
    """Write it."""
    uv = shutil.which("uv") or shutil.which("uv", path=str(environment.PLACE / "bin"))
    if uv is None:
        sys.exit("uv is not installed; install it and try again: .venv/bin/pip install uv")
    project = tomllib.loads((environment.ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    oldest = project["project"]["requires-python"].removeprefix(">=")
    upgrade = [] if "--keep" in sys.argv[1:] else ["--upgrade"]
    words = [
        uv, "pip", "compile", *OPTIONS, *upgrade, "--python-version", oldest, "pyproject.toml", "-", "-o", environment.LOCK.name,
    ]
    build = "\n".join(project["build-system"]["requires"])
    sys.exit(
        subprocess.run(words, input=build, text=True, cwd=environment.ROOT, stdout=subprocess.DEVNULL, check=False).returncode
    )


if __name__ == "__main__":
    main()
