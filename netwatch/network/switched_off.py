"""A rig that was switched off, as whoever decides that it was tells the model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.network.streams import Streams


@dataclass(frozen=True, slots=True)
class Off:
    """All light of a segment ended, and the boxes that sent it are silent. Times in ns."""

    since: int
    """When the first of them stopped."""
    until: int
    """The newest packet of any of these boxes."""
    who: tuple[str, ...]
    """Names of the boxes' sources."""
    boxes: int
    universes: tuple[int, ...]
    """Of E1.31."""
    artnet: tuple[int, ...]
    """Art-Net's universes."""
    seconds: float
    """From the first to the last light that ended."""
    flows: int
    properly: int
    """So many of the flows signed off."""
    numbers: tuple[int, ...]
    """Packet numbers, at most 8."""
    back: bool = False
    """Light came again since; what went off then is still no loss."""


def went_off(streams: Streams, off: dict[int, Off], last: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Which flows went off with their rig and did not come back; ``last`` [..., flows] = ns of their newest packets."""
    out = np.zeros(last.shape, bool)
    for segment, each in off.items():
        out |= (streams.segment[: last.shape[-1]] == segment) & (last >= each.since) & (last <= each.until)
    return out
