"""Sequence numbers: what was lost, late or repeated (E1.31-2018 6.7.2).

The difference d is taken in signed 8-bit arithmetic to the last **accepted** number. -20 < d <= 0 is rejected and does
not move it: 0 is a repeat, less is late, and a late arrival takes one loss back. 2..127 counts d - 1 lost; the rest is a
jump (a restart). A number that was there a moment ago is a copy, wherever the count stands: a mirror or a loop made it.
All START codes share the counter (6.2.5); some senders count them apart, so both readings are kept.
Rows that are plain progress are folded at once, and so are copies; a flow with anything else goes through ``_scalar``, row
by row. Art-Net counts 1..255, and 0 means that the sender does not count (Art-Net 4 p.60).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import ARTNET
from netwatch.network.order import begins_of

if TYPE_CHECKING:
    from netwatch.network.streams import Streams

I64 = npt.NDArray[np.int64]
Bool = npt.NDArray[np.bool_]
U8 = npt.NDArray[np.uint8]
U32 = npt.NDArray[np.uint32]

REJECT_ABOVE = -20
NUMBERS = 512
"""Numbers of a flow that are told apart: 256 of START code 0, 256 of the others, which some senders count by themselves."""
_PLAIN_STEPS = 19
_ROUND = 256 // _PLAIN_STEPS
"""In steps no larger than that, a number is not back before so many packets."""


@dataclass(frozen=True, slots=True, eq=False)
class Counted:
    """Rows sorted by flow, then by time."""

    flow: I64
    time: I64
    gap: I64
    """ns since the flow's packet before each."""
    n: I64
    begins: I64
    """Where each flow begins."""

    def where(self, chosen: Bool) -> Counted:
        """Some of them."""
        flow = self.flow[chosen]
        return Counted(flow, self.time[chosen], self.gap[chosen], self.n[chosen], begins_of(flow))


def fold(streams: Streams, rows: Counted, numbers: U8, codes: U8, restart: Bool) -> Bool:
    """Fold rows sorted by flow, then by time. True for copies: their number was there just before. They are only counted."""
    if _plain(streams, rows, numbers, codes, restart):
        return np.zeros(len(numbers), bool)
    flow, time, number = rows.flow, rows.time, numbers.astype(np.int64)
    uncounted = (streams.protocol[flow] == ARTNET) & (number == 0)
    again = _again(streams, flow, time, number, codes, uncounted)
    if again.any():
        np.add.at(streams.repeated, flow[again], 1)
        new = ~again
        rows, number, codes, restart = rows.where(new), number[new], codes[new], restart[new]
    if len(rows.flow):
        _fold_new(streams, rows, number, codes, restart)
    return again


def _plain(streams: Streams, rows: Counted, numbers: U8, codes: U8, restart: Bool) -> bool:
    """Fold rows that all go on plainly; else do nothing."""
    begins, on = rows.begins, one_on(streams, rows.flow, numbers)
    on[begins[1:] - 1] = True
    if not on.all() or codes.any() or restart.any():
        return False
    final = numbers[np.append(begins[1:], len(numbers)) - 1]
    packets = np.diff(begins, append=len(numbers))
    return fold_plain(streams, rows.flow[begins], packets, numbers[begins], final, cells(rows.flow, rows.time, numbers))


def one_on(streams: Streams, flow: I64, numbers: U8) -> Bool:
    """[rows - 1] is the number one step on from that of the row before? A question where both are of one flow."""
    on: Bool = np.subtract(numbers[1:], numbers[:-1]) == 1
    odd = np.flatnonzero(~on)
    wheel = odd[(numbers[odd] == 255) & (numbers[odd + 1] == 1)]
    on[wheel[streams.protocol[flow[wheel]] == ARTNET]] = True
    nought = np.flatnonzero(numbers == 0)
    nought = nought[streams.protocol[flow[nought]] == ARTNET]  # uncounted
    on[nought[nought > 0] - 1] = False
    on[nought[nought < len(on)]] = False
    return on


def fold_plain(streams: Streams, ids: I64, packets: I64, first: U8, final: U8, marks: tuple[I64, U32]) -> bool:
    """Fold flows with so many packets of START code 0 each, one step on from one to the next; ``marks`` = ``cells`` of all.

    Nothing is done, and False given, where not each flow's first number is one step on from the one accepted last, or where a
    number was there a moment ago.
    """
    before, artnet = streams.sequence[ids], streams.protocol[ids] == ARTNET
    plain = first == np.where(artnet, before % 255, before & 255) + 1 & 255
    plain &= (before >= artnet) & ~streams.mixed[ids] & (packets < 256)
    if not plain.all() or _there(streams, *marks).any():
        return False
    cell, when = marks
    streams.seen.reshape(-1)[cell] = when
    streams.single_steps[ids] += packets
    streams.sequence[ids] = final
    return True


def cells(flow: I64, time: I64, number: U8 | I64) -> tuple[I64, U32]:
    """Cells of ``Streams.seen`` for numbers of START code 0, and times in ms that wrap, and so do their differences."""
    return flow * NUMBERS + number, (time // 1_000_000).astype(np.uint32)


def _there(streams: Streams, cell: I64, when: U32) -> Bool:
    """Rows whose number was there a moment ago in an earlier fold."""
    again: Bool = (when - streams.seen.reshape(-1)[cell]) < _within(streams)
    return again


def _within(streams: Streams) -> int:
    return int(streams.numbers.again_within_s * 1000)


def _again(streams: Streams, flow: I64, time: I64, number: I64, codes: U8, uncounted: Bool) -> Bool:
    """Rows whose number was there a moment ago: 256 numbers last longer in any flow that a DMX line could follow.

    The table tells of earlier folds. Inside this one only flows with a step back, a wide step or a dense run can have copies.
    """
    within = _within(streams)
    cell, when = cells(flow, time, number)
    cell += np.where(codes != 0, 256, 0)
    again = _there(streams, cell, when)
    odd = ((number[1:] - number[:-1] - 1) & 255) >= _PLAIN_STEPS
    odd |= uncounted[1:] != uncounted[:-1]
    odd &= (flow[1:] == flow[:-1]) & ~(uncounted[1:] & uncounted[:-1])
    dense = (flow[_ROUND:] == flow[:-_ROUND]) & (time[_ROUND:] - time[:-_ROUND] < within * 1_000_000) & ~uncounted[_ROUND:]
    if odd.any() or dense.any():
        doubtful = np.zeros(streams.table.size, bool)
        doubtful[flow[1:][odd]] = doubtful[flow[_ROUND:][dense]] = True
        rows = np.flatnonzero(doubtful[flow])
        rows = rows[np.argsort(cell[rows], kind="stable")]
        same = cell[rows[1:]] == cell[rows[:-1]]
        again[rows[1:][same]] = (when[rows[1:]] - when[rows[:-1]] < within)[same]
    streams.seen.reshape(-1)[cell] = when
    return again & ~uncounted


def _fold_new(streams: Streams, rows: Counted, number: I64, codes: U8, restart: Bool) -> None:
    flow, begins = rows.flow, rows.begins
    closes = np.append(begins[1:], len(flow)) - 1
    ids = flow[begins]
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
        gap = rows.gap[missing]
        streams.missed.add(flow[missing], rows.time[missing] - gap + gap // step[missing], rows.n[missing])
    streams.sequence[ids[plain]] = number[closes[plain]]
    for at in np.flatnonzero(odd):
        mine = slice(int(begins[at]), int(closes[at]) + 1)
        _scalar(streams, int(ids[at]), number[mine], codes[mine], restart[mine])


def _steps(number: I64, before: I64, artnet: Bool) -> I64:
    step = (number - before + 128 & 255) - 128
    if artnet.any():
        wheel = (number - before) % 255
        step = np.where(artnet, np.where(wheel > 127, wheel - 255, wheel), step)
    return step


def _scalar(streams: Streams, flow: int, number: I64, codes: U8, restart: Bool) -> None:
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
