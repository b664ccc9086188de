"""A folder of captures as one story: which of its files belong to it."""

from __future__ import annotations

import os
import re

from .stream import CaptureError, shown_path

ENDINGS = (".pcap", ".pcapng", ".cap", ".pcap.gz", ".pcapng.gz", ".cap.gz")
_ROLLING = re.compile(r"capture-\d+\.pcapng")
_PIECES = re.compile(r"(slice|talk)-\d+\.pcapng|older-packets\.pcapng")
"""What a recorder keeps beside a rolling capture: copies of some of its packets."""
_SWEPT = re.compile(r"(\d+)")


def captures_in(folder: str) -> list[str]:
    """Paths of its captures, by name and number; of a guard's folder its rolling capture alone. Raises ``CaptureError``."""
    shown = shown_path(folder)
    try:
        with os.scandir(folder) as entries:
            names = [each.name for each in entries if each.name.lower().endswith(ENDINGS) and each.is_file()]
    except OSError as error:
        raise CaptureError(f"{shown} can't be read ({(error.strerror or 'unknown reason').lower()}); check its rights.") from None
    if not names:
        raise CaptureError(f"There is no capture in {shown}; name a folder with pcap or pcapng files, or the files themselves.")
    rolling = [name for name in names if _ROLLING.fullmatch(name)]
    chosen = rolling or [name for name in names if not _PIECES.fullmatch(name)]
    if not chosen:
        raise CaptureError(
            f"{shown} holds pieces of a session, but no capture that goes through: "
            "'netwatch open' and 'report' take it as long as its journal is there; else name the slices one by one."
        )
    return [os.path.join(folder, name) for name in sorted(chosen, key=_order)]


def _order(name: str) -> list[tuple[int, str]]:
    """Numbers in names count as numbers: 9 stands before 10."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in _SWEPT.split(name)]
