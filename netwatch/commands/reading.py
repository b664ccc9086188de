"""Captures into a player, with a progress line: what verbs that read files share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from .output import Progress

if TYPE_CHECKING:
    from ..packets.batch import Item
    from ..packets.files import Captures
    from ..story.play import Player

STOPPED = "Stopped before the end of the input; what was read until then was used."
NOT_YET = "The capture is still being read; this is told once all of it is."


def opened(files: Sequence[str]) -> Captures:
    """The captures. Raises ``Stop``."""
    from ..packets.files import CaptureError, open_captures

    try:
        return open_captures(files)
    except CaptureError as error:
        raise Stop(Exit.UNREADABLE, str(error)) from None


def play(source: Captures, player: Player, items: Iterable[Item] | None = None) -> Stop | None:
    """Feed all items of ``source``, or these; why it stopped early, if it did. What was read until then is kept."""
    from ..packets.files import CaptureError

    progress = Progress()
    try:
        for item in source if items is None else items:
            player.feed(item)
            progress.show(source.bytes_read, source.bytes_total)
    except CaptureError as error:
        return Stop(Exit.UNREADABLE, str(error))
    except KeyboardInterrupt:
        return Stop(Exit.INTERRUPTED, STOPPED)
    finally:
        progress.clear()
        source.close()
    return None
