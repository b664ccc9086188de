"""What a rule is, and what it yields. How alerts live is in ``engine.py``; the words stand in ``words.py``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from netwatch.frozen import record
from netwatch.numbers import Numbers

SEVERITIES = ("note", "tidy", "quality", "soon", "now")
"""Rising."""
CERTAINTIES = ("hint", "likely", "certain")
"""Rising."""
DOUBTFUL = ("quality", "soon", "now")
"""An alert about the laptop that is so bad makes the rest doubtful: it stands on the trust line and leads to exit code 4."""
VANTAGES = ("mirror", "ordinary", "wifi", "limited")
"""Where we can listen; 'unknown' takes the lowest certainty that the others give."""

NS = 1_000_000_000


@record
class Finding:
    """One subject of which a rule says that it is true now."""

    segment: int
    subject: str
    """As 'universe:12', 'source:<cid>', 'host:<mac>', 'address:<ip>', 'server:<ip>', 'group:<ip>', 'port:<name>', 'rig'."""
    severity: str
    certainty: str
    since: int
    """ns: when it became true, as the capture tells it."""
    facts: Mapping[str, Any] = field(default_factory=dict)
    """Plain values (str, int, float, bool, None, lists of them) that the words and the JSON use."""
    numbers: tuple[int, ...] = ()
    """Packet numbers that it rests on: first two, three deciding, three newest; at most 8."""
    sign: int = 0
    """ns of the newest sign of what shows itself now and then; 0 = a state, which is its own sign as long as it is true."""


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule's declaration. ``after`` and ``until`` in ns."""

    code: str
    """Stable, kebab-case."""
    after: int = 0
    """True for so long before it is told."""
    until: int = 10 * NS
    """False for so long before it is closed."""
    certainty: Mapping[str, str | None] = field(default_factory=dict)
    """Highest certainty from each vantage; None = it can't be seen from there: the rule stays silent and is listed."""
    explains: tuple[str, ...] = ()
    """Codes of alerts that are consequences of this one."""
    numbers: tuple[str, ...] = ()
    """Names of the ``Numbers`` that decide it."""
    about_laptop: bool = False
    """Never 'now'; if it is one of ``DOUBTFUL``, it makes the rest doubtful."""
    steady: bool = False
    """It rests on figures of whole 10 s of the clock, and is asked at the end of each; no news matter to it."""
    after_number: str = ""
    """Name of the number of seconds that stands in place of ``after``."""
    signs: str = "quiet_s"
    """Name of the number of seconds without a new sign after which it is quiet."""
    worse_with: str = ""
    """The fact, a list, of which a new member makes a known thing worse; '' = its severity alone tells."""
    note_in_building: bool = False
    """While the rig is built up a note only, until its universes have run for a while or the plan expects them."""

    def under(self, numbers: Numbers) -> Rule:
        """The rule with the ``after`` that is in force."""
        return replace(self, after=int(getattr(numbers, self.after_number) * NS)) if self.after_number else self
