"""How 'netwatch mark' reaches a running watch of the same user: a private socket in the user's folder, nothing on the network.

On Windows a named pipe, for which a file stands in that folder. Nobody but this user and administrators may write to it: so
Windows makes pipes for which no rights are named (Microsoft, 'Named Pipe Security and Access Rights'), and Python names none.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from multiprocessing.connection import Client, Connection, Listener
from pathlib import Path
from stat import S_ISDIR

from .. import private

MOST_BYTES = 4_096
PATIENCE_S = 3.0
_REST_S = 0.05
_PREFIX = "watch-"
_WINDOWS = sys.platform == "win32"


class NoDoor(Exception):
    """One sentence: why the folder can't be used."""


def folder() -> Path:
    """The private folder of this user, made if need be. Raises ``NoDoor`` where others could reach into it."""
    path = _base() / "netwatch"
    try:
        private.folder(path)
        about = path.lstat()
    except OSError as error:
        raise NoDoor(f"The folder {path} can't be made ({(error.strerror or 'unknown reason').lower()}).") from None
    if not S_ISDIR(about.st_mode) or (not _WINDOWS and (about.st_uid != os.geteuid() or about.st_mode & 0o077)):
        raise NoDoor(f"The folder {path} is not yours alone; remove it, or take its rights from others with 'chmod 700'.")
    return path


def _base() -> Path:
    """Where this user's runtime files go; behind sudo the caller's, since rights were given up before."""
    if not _WINDOWS:
        for text in (os.environ.get("XDG_RUNTIME_DIR", ""), f"/run/user/{os.geteuid()}"):
            if text and os.path.isabs(text) and os.path.isdir(text) and os.stat(text).st_uid == os.geteuid():
                return Path(text)
    from platformdirs import user_state_path

    return user_state_path("netwatch", appauthor=False) / "running"


def _address(path: Path) -> tuple[str, str]:
    """(address, family) of the door that a file stands for, as multiprocessing.connection's 'Address Formats' want it."""
    return (rf"\\.\pipe\netwatch-{path.name}", "AF_PIPE") if _WINDOWS else (str(path), "AF_UNIX")


class Door:
    """Takes words in a thread until it is closed."""

    def __init__(self, hear: Callable[[str, int], str]) -> None:
        """``hear(word, at)`` gives the answer, one sentence. Raises ``NoDoor``."""
        self._hear = hear
        self._path = folder() / f"{_PREFIX}{os.getpid()}"
        self._open = True
        try:
            self._path.unlink(missing_ok=True)  # of a program that had this number before
            self._listener = Listener(*_address(self._path))
            if _WINDOWS:
                self._path.touch()
        except OSError as error:
            raise NoDoor(f"{self._path} can't be opened ({(error.strerror or str(error)).lower()}).") from None
        self._thread = threading.Thread(target=self._wait, name="door", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """No more words; the file goes."""
        self._open = False
        with contextlib.suppress(OSError):
            Client(*_address(self._path)).close()  # ends the wait
        self._thread.join(PATIENCE_S)
        self._listener.close()
        self._path.unlink(missing_ok=True)

    def _wait(self) -> None:
        while self._open:
            try:
                with self._listener.accept() as visitor:
                    self._serve(visitor)
            except (OSError, EOFError):
                time.sleep(_REST_S)  # who came went away; or nobody can come, and that may last

    def _serve(self, visitor: Connection) -> None:
        if not visitor.poll(PATIENCE_S):
            return
        try:
            told = json.loads(visitor.recv_bytes(MOST_BYTES))
            word, at = told["word"], told["at"]
        except (ValueError, KeyError, TypeError, RecursionError):
            return
        if isinstance(word, str) and type(at) is int:
            visitor.send_bytes(self._hear(word, at).encode())


def say(word: str, at: int) -> list[str]:
    """Tell each running watch of this user; their answers, one a watch. Raises ``NoDoor``."""
    return [answer for path in _doors() if (answer := _ask(path, word, at)) is not None]


def _doors() -> Iterator[Path]:
    yield from sorted(folder().glob(f"{_PREFIX}*"))


def _ask(path: Path, word: str, at: int) -> str | None:
    """None where nobody is behind the door any more; its file goes then."""
    try:
        with Client(*_address(path)) as watch:
            watch.send_bytes(json.dumps({"word": word, "at": at}).encode())
            return watch.recv_bytes(MOST_BYTES).decode("utf-8", "replace") if watch.poll(PATIENCE_S) else None
    except (ConnectionRefusedError, FileNotFoundError):
        path.unlink(missing_ok=True)
        return None
    except (OSError, EOFError):
        return None
