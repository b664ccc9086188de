"""One universe's way from its sender to the fixture, as text."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

from netwatch.packets.batch import FileSeen
from netwatch.story.snapshot import Snapshot
from netwatch.words import why as words

from .layout import Line, hang, painted, wrap
from .text import NARROWEST
from .times import Times

MARGIN = 29


def render(
    snapshot: Snapshot, files: Sequence[FileSeen], *, colour: bool = False, width: int = 80, zone: tzinfo | None = None
) -> str:
    """Lines of at most ``width`` cells (40 at least). ``snapshot.why`` must be there; ``files`` are not told of."""
    why = snapshot.why
    assert why is not None
    width, times = max(width, NARROWEST), Times(snapshot.first, zone)
    if not why.stations:
        return painted([Line(text) for text in wrap(why.verdict, width)], colour)
    head = f"{words.head(why.universe, why.protocol, why.see)}, at {times.clock(why.at)}"
    lines = [Line(text, "head") for text in wrap(head, width)] + [Line("")]
    for station in why.stations:
        mark, word = words.STATE[station.state]
        label = f"{mark} {word:9}  {words.STATION[station.name]}"
        said = " ".join(station.texts)
        if width < 2 * MARGIN:
            lines += [Line(label), *(Line(text) for text in hang("", said, width, 2))]
        else:
            lines += [Line(text) for text in hang(label, said, width, MARGIN)]
    return painted([*lines, Line(""), *(Line(text, "head") for text in wrap(why.verdict, width))], colour)
