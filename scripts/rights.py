"""Gives the environment's own Python the right to read frames, once, and takes it back. Standard library only.

Linux: the capability cap_net_raw on a copy of Python (capabilities(7), setcap(8)); no other program gets it. macOS: the owner of
/dev/bpf*, until the next restart (bpf(4)). Windows: a driver has to be installed by hand.
"""

from __future__ import annotations

import getpass
import glob
import os
import shutil
import subprocess
import sys
from pathlib import Path

import environment

TRY = "import socket; socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0).close()"


def give() -> str:
    """What was done, one sentence. Ends with a sentence where it can't be done."""
    if sys.platform == "darwin":
        _as_root("chown", getpass.getuser(), *_devices())
        return "This user may read frames until the next restart; 'python3 scripts/start.py --rights back' takes it back."
    _only_linux("Install the driver Npcap once, and leave its box 'restrict to administrators' empty: that is the right.")
    python = _own(environment.ready())
    _as_root(_setcap(), "cap_net_raw=ep", str(python))
    if not _may_read(python):
        _as_root(_setcap(), "-r", str(python))
        sys.exit("This Python does not start with the right, or its file system does not keep it (mounted 'nosuid', or not of "
                 "Linux): the right was taken back. Start netwatch with sudo instead.")
    return (f"{python} may read frames from now on, also after a restart; so may every script that is run by it. "
            "'python3 scripts/start.py --rights back' takes it back.")


def take_back() -> str:
    """The same, the other way round."""
    if sys.platform == "darwin":
        _as_root("chown", "root", *_devices())
        return "Only the administrator may read frames again."
    _only_linux("Remove the driver Npcap in the list of installed programs: that takes the right back.")
    python = _last_link(environment.PLACE / "bin" / "python")
    if not python.exists() or not _holds(python):
        return "The right was not given; nothing had to be taken back."
    _as_root(_setcap(), "-r", str(python))
    return f"{python} may no longer read frames; what runs already keeps the right until it ends."


def _own(python: Path) -> Path:
    """The environment's Python as a file of its own: a right on a link would go to every program in Python."""
    last = _last_link(python)
    if last.is_symlink():
        target = last.resolve()
        copy = last.with_name(f"{last.name}.new")
        shutil.copy2(target, copy)
        copy.replace(last)
    return last


def _last_link(python: Path) -> Path:
    """Of names that point at each other inside the folder the one that all come to."""
    while python.is_symlink() and (python.parent / os.readlink(python)).parent == python.parent:
        python = python.parent / os.readlink(python)
    return python


def _may_read(python: Path) -> bool:
    return subprocess.run([str(python), "-c", TRY], capture_output=True, check=False).returncode == 0


def _holds(python: Path) -> bool:
    """The kernel keeps the right in an extended attribute (capabilities(7))."""
    return "security.capability" in os.listxattr(python)


def _setcap() -> str:
    found = shutil.which("setcap", path=os.pathsep.join((os.environ.get("PATH", os.defpath), "/usr/sbin", "/sbin")))
    if found is None:
        sys.exit("The program setcap is missing: install it (on Debian and Ubuntu the package libcap2-bin), or start with sudo.")
    return found


def _devices() -> list[str]:
    return sorted(glob.glob("/dev/bpf*"))


def _only_linux(otherwise: str) -> None:
    if not sys.platform.startswith("linux"):
        sys.exit(otherwise)


def _as_root(*words: str) -> None:
    """Run a program as administrator; sudo may ask for the password."""
    command = [*words] if os.geteuid() == 0 else ["sudo", *words]
    try:
        done = subprocess.run(command, stdout=subprocess.DEVNULL, check=False).returncode
    except FileNotFoundError:
        sys.exit(f"The program {command[0]} is missing; as administrator run: {' '.join(words)}")
    except KeyboardInterrupt:
        sys.exit(130)
    if done != 0:
        sys.exit(f"That did not work: {' '.join(words)}")
