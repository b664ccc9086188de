"""What live verbs share: opening interfaces to listen on, and giving up all rights."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..packets.live import LiveSource


def listening(names: Sequence[str]) -> LiveSource:
    """Whole frames of these interfaces. Raises ``CannotListen``."""
    if sys.platform.startswith("linux"):
        from ..packets.ring import RingSource

        return RingSource(names)
    from ..packets.library import LibrarySource

    return LibrarySource(names)


def without_rights(source: LiveSource) -> LiveSource:
    """Rights go for good before the first packet is read, and before a file is made: it shall belong to the caller."""
    from ..packets import rights

    rights.drop()
    return source
