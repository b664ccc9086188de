"""What the screens ask for: pictures, answers, evidence; in replay also time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from netwatch.story.snapshot import Said, Snapshot, Why


class Tape(Protocol):
    """A recorded story that can be played. Times are ns since 1970 UTC."""

    first: int
    last: int
    at: int
    """The moment that is shown."""
    playing: bool
    speed: int
    """Times real time."""
    moments: Sequence[int]
    """Where alerts opened and marks stand, in order."""

    def play(self, playing: bool) -> None:
        """Go on from ``at``, or stand still."""

    def hasten(self, faster: bool) -> None:
        """Double or halve the speed, within limits."""

    def seek(self, at: int) -> None:
        """Show another moment. Takes up to a second; safe from any thread."""


class Source(Protocol):
    """Where the screens get everything from. Each method is safe from any thread.

    Those that answer here already are right for a source that can't be played, is no journal and has nothing to read.
    """

    @property
    def tape(self) -> Tape | None:
        """None while live, and of a journal, which holds what became of it, not each moment."""
        return None

    @property
    def note(self) -> str:
        """What the trust line says of a journal, which keeps no levels; '' = it is none."""
        return ""

    @property
    def reading(self) -> str:
        """How much of a capture is read so far; '' = all, or it is none."""
        return ""

    def begin(self) -> None:
        """The frame stands on the screen: what takes long may begin."""
        return

    def snapshot(self) -> Snapshot:
        """The picture at the moment that is shown."""

    def why(self, protocol: str, universe: int, see: str | None) -> Why:
        """One universe followed from its sender to the fixture; ``see`` = what people see, a key of ``words.sees.SEES``."""

    def look(self, protocol: str, universe: int, channel: int | None = None) -> None:
        """Keep this universe's frames in the snapshot, and what one DMX channel (from 1) does from now on."""

    def packet(self, number: int) -> Sequence[Said] | None:
        """What a packet says, field by field; None where its bytes are no longer at hand."""


class Actions(Protocol):
    """What keys may do outside the screen. Each returns at once, and raises ValueError with one sentence where it can't."""

    def before_join(self, universes: str) -> str:
        """What joining would do, in one sentence: which universes, how many Mbit/s, what it may darken."""

    def join(self, universes: str) -> str:
        """Join, and say so in one sentence."""

    def mark(self, word: str, at: int) -> None:
        """Put a word into the record; it was meant at ``at`` (ns since 1970)."""

    def leave(self, alert: int, why: str, *, today: bool) -> None:
        """'Known, leave it', for today or for this job."""

    def heed(self, alert: int) -> None:
        """Take 'known' back."""

    def mended(self, alert: int) -> None:
        """Close an alert at once; it is watched on."""

    def set_phase(self, phase: str) -> None:
        """'building' or 'show'."""

    def second_screen(self) -> str | None:
        """Where the page for a second screen is, with a code to scan; None = it is not served."""

    def earlier(self) -> str | None:
        """What an earlier run's joins may still do to the view, one sentence."""

    def before_quit(self) -> str | None:
        """What ending would disturb, one sentence; None = nothing."""
