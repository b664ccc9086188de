"""Sequence numbers: what was lost, late or repeated (E1.31-2018 6.7.2).

The difference d is taken in signed 8-bit arithmetic to the last **accepted** number. -20 < d <= 0 is rejected and does
not move it: 0 is a repeat, less is late, and a late arrival takes one loss back. 2..127 counts d - 1 lost; the rest is a
jump (a restart). All START codes share the counter (6.2.5); some senders count them apart, so both readings are kept.
Rows that are plain progress are folded at once; a flow with anything else goes through ``_scalar``, row by row.
Art-Net counts 1..255, and 0 means that the sender does not count (Art-Net 4 p.60).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import ARTNET

if TYPE_CHECKING:
    from netwatch.network.streams import Streams

I64 = npt.NDArray[np.int64]
Bool = npt.NDArray[np.bool_]

REJECT_ABOVE = -20


def fold(streams: Streams, flow: I64, numbers: npt.NDArray[np.uint8], codes: npt.NDArray[np.uint8], restart: Bool,
         begins: I64, closes: I64) -> None:
    """Fold rows sorted by flow; ``begins`` and ``closes`` are each flow's first and last row."""
    ids = flow[begins]
    number = numbers.astype(np.int64)
    before = np.empty_like(number)
    before[1:] = number[:-1]
    before[begins] = streams.sequence[ids]
    artnet = streams.protocol[flow] == ARTNET
    unjudged = restart | (before < 0) | (artnet & ((number == 0) | (before == 0)))
    step = _steps(number, before, artnet)
    step[unjudged] = 1
    lost = np.add.reduceat(step - 1, begins)
    single = np.add.reduceat(((step == 1) & ~unjudged).astype(np.int64), begins)
    odd = np.add.reduceat(((step < 1) | (codes != 0)).astype(np.int64), begins) > 0
    odd |= streams.mixed[ids]
    plain = ~odd
    streams.lost[ids[plain]] += lost[plain]
    streams.single_steps[ids[plain]] += single[plain]
    missing = step > 1
    if missing.any():
        streams.gaps[ids[plain]] += np.add.reduceat(missing, begins, dtype=np.int64)[plain]
        streams.bursts[ids[plain]] += np.add.reduceat(step > streams.numbers.loss_burst, begins, dtype=np.int64)[plain]
    streams.sequence[ids[plain]] = number[closes[plain]]
    for at in np.flatnonzero(odd):
        rows = slice(int(begins[at]), int(closes[at]) + 1)
        _scalar(streams, int(ids[at]), number[rows], codes[rows], restart[rows])


def _steps(number: I64, before: I64, artnet: Bool) -> I64:
    step = (number - before + 128 & 255) - 128
    if artnet.any():
        wheel = (number - before) % 255
        step = np.where(artnet, np.where(wheel > 127, wheel - 255, wheel), step)
    return step


def _scalar(streams: Streams, flow: int, number: I64, codes: npt.NDArray[np.uint8], restart: Bool) -> None:
    """One flow, row by row: on one counter, and with a counter for START code 0 and one for the others."""
    artnet = int(streams.protocol[flow]) == ARTNET
    if not streams.mixed[flow] and codes.any():
        streams.mixed[flow] = True
        streams.sequence_null[flow] = streams.sequence[flow]
        streams.lost_split[flow] = streams.lost[flow]
    shared, null, other = (int(streams.sequence[flow]), int(streams.sequence_null[flow]), int(streams.sequence_other[flow]))
    total = split = 0
    for value, code, fresh in zip(number.tolist(), codes.tolist(), restart.tolist(), strict=True):
        if fresh:
            shared = null = other = -1
        shared, change, verdict = accept(shared, value, artnet)
        change = max(change, -(int(streams.lost[flow]) + total))
        total += change
        streams.gaps[flow] += verdict == "lost"
        streams.bursts[flow] += verdict == "lost" and change >= streams.numbers.loss_burst
        streams.coded[flow] += code != 0
        streams.single_steps[flow] += verdict == "next"
        streams.late[flow] += verdict == "late"
        streams.repeated[flow] += verdict == "repeated"
        streams.jumps[flow] += verdict == "jump"
        if streams.mixed[flow]:
            if code:
                other, change, _ = accept(other, value, artnet)
            else:
                null, change, _ = accept(null, value, artnet)
            split += max(change, -(int(streams.lost_split[flow]) + split))
    streams.sequence[flow], streams.sequence_null[flow], streams.sequence_other[flow] = shared, null, other
    streams.lost[flow] += total
    if streams.mixed[flow]:
        streams.lost_split[flow] += split


def accept(last: int, value: int, artnet: bool) -> tuple[int, int, str]:
    """(last accepted number, change of the loss count, verdict: first, next, lost, late, repeated, jump or uncounted)."""
    if last < 0:
        return value, 0, "first"
    if artnet and (value == 0 or last == 0):
        return value, 0, "uncounted"
    if artnet:
        step = (value - last) % 255
        step = step - 255 if step > 127 else step
    else:
        step = (value - last + 128 & 255) - 128
    if step == 0:
        return last, 0, "repeated"
    if REJECT_ABOVE < step < 0:
        return last, -1, "late"
    if step < 0:
        return value, 0, "jump"
    return value, step - 1, "next" if step == 1 else "lost"
