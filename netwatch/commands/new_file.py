"""Files that verbs write: readable by their owner alone, whole or not at all, never over somebody else's file."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from ..exits import Exit, Stop

PAGE, ZIP, JSON = b"<!doctype html>", b"PK", b"{"
"""How a file of ours begins; only such a one is written anew."""


def check(path: Path, begins: bytes) -> None:
    """Raises ``Stop`` where it could not be written; told before the long work begins."""
    try:
        with path.open("rb") as file:
            head = file.read(len(begins))
    except FileNotFoundError:
        head = b""
        if not path.parent.is_dir():
            raise Stop(Exit.UNREADABLE, f"{path}: there is no folder {path.parent}; make it, or choose another one.") from None
        if not os.access(path.parent, os.W_OK):
            raise Stop(Exit.UNREADABLE, f"{path}: this folder can't be written to; choose another one.") from None
    except OSError as error:
        raise Stop(Exit.UNREADABLE, f"{path} can't be written ({_reason(error)}); choose another name.") from None
    if head not in (b"", begins):
        raise Stop(Exit.USAGE, f"{path} exists and is no report of netwatch; choose another name, or move that file away.")


def write(path: Path, data: bytes) -> None:
    """All of it or nothing. Raises ``Stop``."""
    try:
        handle, name = tempfile.mkstemp(prefix=".netwatch-", dir=path.parent)  # mode 0600
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise Stop(Exit.UNREADABLE, f"{path} could not be written ({_reason(error)}); nothing was changed.") from None


def _reason(error: OSError) -> str:
    return (error.strerror or "unknown reason").lower()
