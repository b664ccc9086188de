"""'Known, leave it': what a person accepted, and when that ends."""

from __future__ import annotations

from copy import copy

from netwatch.alerts.alert import Accepted, Key
from netwatch.alerts.rule import SEVERITIES


class Known:
    """Acceptances by key. They outlast the alert: when the same thing comes back no worse, it is still known."""

    def __init__(self) -> None:
        """Nothing is accepted."""
        self._said: dict[Key, tuple[Accepted, str]] = {}

    def say(self, key: Key, accepted: Accepted, severity: str) -> None:
        """Accepts what is as bad as ``severity`` or less."""
        self._said[key] = accepted, severity

    def holds(self, key: Key, severity: str, now: int) -> Accepted | None:
        """The acceptance that holds at ``now`` for a thing so bad; one that was outlived or outgrown is forgotten."""
        accepted, at_most = self._said.get(key, (None, severity))
        if accepted is None:
            return None
        if accepted.ends <= now or SEVERITIES.index(severity) > SEVERITIES.index(at_most):
            del self._said[key]
            return None
        return accepted

    def forget(self, key: Key) -> None:
        """Nothing is accepted there any more."""
        self._said.pop(key, None)

    def copy(self) -> Known:
        """One that changes on its own."""
        new = copy(self)
        new._said = dict(self._said)
        return new
