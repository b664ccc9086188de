"""What the lab needs of this machine, said in one sentence where it is missing."""

from __future__ import annotations

import os
import shutil
import sys

from rig.scenario import ALWAYS, Scenario

SYSTEM_PATHS = os.pathsep.join(("/usr/sbin", "/sbin"))


def why_not(*scenarios: Scenario) -> str | None:
    """Why these scenarios can't be played here; None if they can."""
    if not sys.platform.startswith("linux"):
        return "The lab needs Linux: it builds its networks in network namespaces."
    if os.geteuid() != 0:
        return "The lab needs root to make network namespaces; start it with sudo."
    path = os.pathsep.join((os.environ.get("PATH", ""), SYSTEM_PATHS))
    wanted = ALWAYS | {program: package for each in scenarios for program, package in each.needs.items()}
    missing = [program for program in wanted if shutil.which(program, path=path) is None]
    if missing:
        packages = " ".join(sorted({wanted[program] for program in missing}))
        return f"The lab needs {', '.join(missing)}: apt-get install {packages}"
    return None
