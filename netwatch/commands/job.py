"""What a person said is known, kept from one watch to the next for as long as the job lasts."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from .. import private
from ..alerts.known import Left
from ..exits import Stop
from . import known_file, new_file

EARLIER = "known-of-the-last-job.txt"


class Job:
    """One file in the user's state folder. Nothing raises: a watch goes on without it, and says so (``problem``)."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.problem: str | None = None
        self._written: tuple[Left, ...] | None = None
        """None = the file must not be written: it could not be read."""

    def load(self) -> list[Left]:
        """What is still known; a file that can't be read is left as it is."""
        try:
            known = known_file.read(self.path) if self.path.exists() else []
        except known_file.BadKnown as error:
            self.problem = f"{error} Until then nothing is known from before, and what you leave be now is not kept."
            return []
        now = time.time_ns()
        known = [left for left in known if left.accepted.ends > now]
        self._written = tuple(known)
        return known

    def end(self) -> bool:
        """Another job begins: nothing is known any more; the list of the last one is set aside. False = there was none."""
        try:
            self.path.replace(self.path.with_name(EARLIER))
        except FileNotFoundError:
            return False
        except OSError as error:
            self.problem = f"{self.path} can't be set aside ({(error.strerror or 'unknown reason').lower()}); remove it by hand."
        return True

    def save(self, known: Iterable[Left]) -> None:
        """Write what is known now, if that changed."""
        now = time.time_ns()
        current = tuple(left for left in known if left.accepted.ends > now)
        if self._written is None or current == self._written:
            return
        try:
            private.folder(self.path.parent)
            new_file.write(self.path, known_file.written(current).encode())
            self._written = current
        except (OSError, Stop) as error:
            self._written = None
            self.problem = f"What you said is known is not kept for the next watch: {error}"


def facts(left: Left) -> Mapping[str, Any]:
    """The mark's facts that say it."""
    accepted = left.accepted
    return {"known": {
        "code": left.code, "where": left.where, "subject": left.subject, "at": accepted.at, "until": accepted.until,
        "why": accepted.why, "worst": accepted.worst, "of": None if accepted.of is None else sorted(accepted.of),
    }}  # fmt: skip
