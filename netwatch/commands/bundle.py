"""``report --bundle``: the page, the slices that it rests on, sums to prove that nothing was changed, and how to replay them."""

from __future__ import annotations

import io
import shlex
import tempfile
import time
import zipfile
from collections.abc import Iterable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from ..words import record as words

if TYPE_CHECKING:
    from ..numbers import Numbers
    from ..record.cutting import Cutter
    from ..story.snapshot import Snapshot

NS = 1_000_000_000
SLICES = "slices"


def from_captures(paths: list[str], snapshot: Snapshot, numbers: Numbers, cutter: Cutter) -> dict[str, bytes]:
    """Slices of captures that are read once more, by name. Raises ``Stop``."""
    from ..network.clock import FoldClock
    from ..packets.files import CaptureError, open_captures
    from ..record.slicing import comments, spans, write_slices

    with tempfile.TemporaryDirectory(prefix="netwatch-") as folder:
        try:
            wanted = spans(snapshot, round(numbers.slice_around_s * NS))
            written = write_slices(open_captures(paths), wanted, comments(snapshot), Path(folder), cutter, FoldClock(numbers))
        except CaptureError as error:
            raise Stop(Exit.UNREADABLE, str(error)) from None
        return {f"{SLICES}/{path.name}": path.read_bytes() for path in written}


def from_journal(path: Path, snapshot: Snapshot) -> dict[str, bytes]:
    """Slices that were recorded beside a journal, by name. Raises ``Stop``."""
    from ..packets.files import CaptureError
    from ..record.packets_back import hand_on
    from ..record.readback import segments, slices
    from ..record.schema import JournalError
    from ..record.slicing import comments

    with tempfile.TemporaryDirectory(prefix="netwatch-") as folder:
        try:
            talk = [each for each in segments(path) if each.kind == "talk"]
            written = hand_on(path.parent, slices(path), talk, comments(snapshot), Path(folder))
        except (CaptureError, JournalError) as error:
            raise Stop(Exit.UNREADABLE, str(error)) from None
        return {f"{SLICES}/{each.name}": each.read_bytes() for each in written}


def packed(parts: Mapping[str, bytes], options: Iterable[str], at: int | None) -> bytes:
    """The ZIP file: the parts, their sums, and a page on how to use them. ``at`` = ns that its entries bear."""
    slices = sorted(name for name in parts if name.startswith(SLICES))
    # A replay needs no settings to be read, only to be judged alike.
    command = shlex.join(["netwatch", "replay", *options])
    told = {**parts, "README.txt": words.bundle(command, slices).encode()}
    sums = "".join(f"{sha256(told[name]).hexdigest()}  {name}\n" for name in sorted(told))
    out = io.BytesIO()
    moment = time.localtime((at or 0) // NS)[:6]
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in sorted({**told, "SHA256SUMS": sums.encode()}.items()):
            info = zipfile.ZipInfo(name, max(moment, (1980, 1, 1, 0, 0, 0)))
            info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, 0o600 << 16
            file.writestr(info, data)
    return out.getvalue()
