"""What a rule over the slow tables gives: findings, and when time alone may change them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

from netwatch.alerts.rule import Finding, Rule
from netwatch.network.network import Network


@dataclass(slots=True)
class Looked:
    """Findings that hold now. ``wake`` = ns at which to look again even if nothing new was heard."""

    findings: list[Finding] = field(default_factory=list)
    wake: int | None = None

    def later(self, when: float, now: int) -> None:
        """Look again at ``when``, if that is still to come."""
        if when > now:
            self.wake = int(when) if self.wake is None else min(self.wake, int(when))


class TableRule(Protocol):
    """A rule over the slow tables; asked at a tick's end ``now`` after news, or when its wake has come.

    News of a part of the model (``network/parts.py``) that it did not read are none to it: one that keeps what it found reads
    what that rests on. One with a ``ground(network)`` is asked after news only where that value is another than before. A
    ``steady`` one rests on figures of the 10 s grid alone: once it has a wake, no news matter to it.
    """

    rule: Rule

    def look(self, network: Network, now: int) -> Looked: ...
