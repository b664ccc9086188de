"""A whole session as a report tells it: the picture at its end, how the streams ran, the packets that alerts rest on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from netwatch.packets.batch import FileSeen, PacketBatch
from netwatch.story.assets import Asset
from netwatch.story.course import CourseView
from netwatch.story.snapshot import Snapshot


@dataclass(frozen=True, slots=True)
class Evening:
    """From captures or from a journal."""

    snapshot: Snapshot
    files: Sequence[FileSeen]
    course: CourseView | None
    packets: Mapping[int, PacketBatch] = field(default_factory=dict)
    """Batches of one row, by packet number."""
    places: Mapping[int, tuple[str, int]] = field(default_factory=dict)
    """(file, number in it) of packets, by number; those that are known."""
    recording: tuple[str, ...] = ()
    """What the recording itself lacks, a sentence each."""
    assets: tuple[Asset, ...] = ()
    """The plan's devices."""
    hidden: Mapping[str, str] = field(default_factory=dict)
    """Names and MACs of people's own devices, and what stands in their place."""
