"""What the system's own programs say, for ``netwatch laptop`` alone: never while packets are read."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from typing import Any

PATIENCE_S = 8.0
"""PowerShell alone takes a second or two to start."""
_PLACES = os.pathsep.join(("/usr/sbin", "/sbin", "/usr/libexec/ApplicationFirewall"))
"""Where programs lie that are not on a user's own path."""


def output(*words: str) -> str | None:
    """Standard output of a program that ended well, in plain English; None where it is missing, fails or takes too long."""
    found = shutil.which(words[0], path=os.pathsep.join((os.environ.get("PATH", os.defpath), _PLACES)))
    if found is None:
        return None
    try:
        done = subprocess.run(
            [found, *words[1:]], stdin=subprocess.DEVNULL, capture_output=True, text=True, errors="replace", check=False,
            timeout=PATIENCE_S, env={**os.environ, "LC_ALL": "C"},
        )  # fmt: skip
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout if done.returncode == 0 else None


def read(text: str | None) -> Any:
    """A JSON document; None where it is none."""
    try:
        return json.loads(text) if text else None
    except ValueError:
        return None


def powershell(command: str) -> Any:
    """What a cmdlet gives, through ConvertTo-Json: the same in every language of Windows. One object comes as a list of one."""
    told = read(output("powershell", "-NoProfile", "-NonInteractive", "-Command", f"{command} | ConvertTo-Json -Compress"))
    return [told] if isinstance(told, dict) else told
