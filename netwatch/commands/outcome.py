"""What a session ends with: the text or the JSON document, and the exit code."""

from __future__ import annotations

import json
from argparse import Namespace
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from ..exits import Exit
from .output import colour, complain, say, width

if TYPE_CHECKING:
    from ..packets.batch import FileSeen
    from ..story.snapshot import Snapshot


def evidence(snapshot: Snapshot, paths: Sequence[str]) -> Snapshot:
    """The snapshot with the bytes of all packets that its alerts rest on, read again from the files."""
    from ..packets.files import packet_bytes

    found = packet_bytes(paths, _numbers(snapshot)) if paths else {}
    return replace(
        snapshot, alerts=tuple(replace(each, bytes=_bytes(each.packets, each.bytes, found)) for each in snapshot.alerts)
    )


def _numbers(snapshot: Snapshot) -> Iterable[int]:
    return sorted({number for alert in snapshot.alerts for number in alert.packets})


def _bytes(numbers: Sequence[int], held: Mapping[int, str], found: Mapping[int, bytes]) -> dict[int, str]:
    read = {number: found[number].hex() for number in numbers if number in found}
    return {number: both for number in numbers if (both := read.get(number) or held.get(number))}


def tell(snapshot: Snapshot, files: Sequence[FileSeen], arguments: Namespace) -> None:
    """The result on standard output; what is wrong with the files on standard error as well if the output is JSON."""
    if arguments.json:
        from ..story.document import document

        for file in files:
            if file.problem:
                complain(file.problem)
        say(json.dumps(document(snapshot, files), indent=2, allow_nan=False))
    else:
        if snapshot.why is not None:
            from ..report.why import render
        elif snapshot.levels is None:
            from ..report.text import render
        else:
            from ..report.levels import render

        say(render(snapshot, files, colour=colour(plain=arguments.plain), width=width()))


def verdict(snapshot: Snapshot, files: Sequence[FileSeen], fail_on: str, *, trusted: bool) -> Exit:
    """1 before 4 before 0. Alerts under another one, alerts marked as known and those about the laptop don't count for 1."""
    from ..alerts.rule import SEVERITIES

    least = SEVERITIES.index(fail_on)
    counted = (a for a in snapshot.alerts if a.over is None and a.accepted is None and not a.about_laptop)
    if any(SEVERITIES.index(alert.severity) >= least for alert in counted):
        return Exit.ALERTS
    nothing_read = sum(snapshot.undecoded.values()) >= snapshot.packets
    if not trusted or nothing_read or any(file.problem for file in files):
        return Exit.NOT_TRUSTED
    return Exit.FINE
