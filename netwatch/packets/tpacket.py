"""The layout of a Linux packet ring (TPACKET_V3, linux/if_packet.h) and the reading of its blocks into columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.packets.batch import DIRECTION_IN, DIRECTION_OUT, I32, I64, U8

STATUS, OPENED = 8, 32
"""Bytes of a block's descriptor: status, packets, first packet and length (32 bits each); opening time (s, ns)."""
OURS = 1
"""TP_STATUS_USER: the block is ours to read."""

HEADER = np.dtype({
    "names": ["next", "sec", "nsec", "caplen", "wirelen", "status", "mac", "tci", "tpid", "type"],
    "formats": ["u4", "u4", "u4", "u4", "u4", "u4", "u2", "u4", "u2", "u1"],
    "offsets": [0, 4, 8, 12, 16, 20, 24, 32, 36, 58],
    "itemsize": 60,
})
"""A packet's header (tpacket3_hdr), and sll_pkttype of the address behind it. Stands in front of each packet."""

_VLAN_VALID, _TPID_VALID = 1 << 4, 1 << 6
_OUTGOING = 4
_DOT1Q = 0x8100
_TAG = 4
_FIRST_GUESS, _LAST_GUESS, _SINGLE_STEPS = 16, 4096, 32


@dataclass(frozen=True, slots=True)
class Rows:
    """Packets found in one buffer, in the order of the buffer."""

    start: I64
    caplen: I32
    wirelen: I32
    time: I64
    direction: U8


def starts(data: U8, at: int, count: int) -> I64:
    """Bytes of ``data`` (a multiple of 4 long) at which ``count`` packet headers stand, the first at ``at``.

    Each header begins with the distance to the next. Light comes in runs of equal frames, so a run is guessed and checked
    at once; where the guess fails, a few steps are taken one by one.
    """
    found = np.empty(count, np.int64)
    words = data.view(np.uint32).data
    have, guess = 0, _FIRST_GUESS
    while have < count:
        step = words[at >> 2]
        most = min(guess, count - have, (len(data) - at) // step if step else 1)
        same = np.ndarray(most, np.uint32, data, at, (step,)) == step
        good = most if same.all() else int(same.argmin())
        found[have : have + good] = np.arange(at, at + good * step, step) if step else at
        have, at = have + good, at + good * step
        if good == guess:
            guess = min(guess * 4, _LAST_GUESS)
            continue
        guess = _FIRST_GUESS
        for _ in range(min(_SINGLE_STEPS, count - have)):
            found[have] = at
            have, at = have + 1, at + words[at >> 2]
    return found


def read(data: U8, found: I64, ethernet: npt.NDArray[np.bool_]) -> Rows:
    """The packets whose headers stand at ``found``; VLAN tags that the kernel took off are put back into ``data``.

    ``ethernet``: whether each frame has MAC addresses.
    """
    head = np.ndarray(len(data) - HEADER.itemsize + 1, HEADER, data, 0, (1,))[found]
    start = found + head["mac"]
    caplen = head["caplen"].astype(np.int32)
    wirelen = np.maximum(caplen, head["wirelen"].astype(np.int32))
    time = head["sec"].astype(np.int64) * 1_000_000_000 + head["nsec"]
    direction = np.where(head["type"] == _OUTGOING, DIRECTION_OUT, DIRECTION_IN).astype(np.uint8)
    tagged = np.flatnonzero((head["status"] & _VLAN_VALID != 0) & (caplen >= 12) & ethernet)
    if len(tagged):
        _put_back(data, start[tagged], head[tagged])
        start[tagged] -= _TAG
        caplen[tagged] += _TAG
        wirelen[tagged] += _TAG
    return Rows(start, caplen, wirelen, time, direction)


def _put_back(data: U8, start: I64, head: npt.NDArray[np.void]) -> None:
    """Move both MAC addresses four bytes forward and write the tag behind them (there is room: PACKET_RESERVE)."""
    macs = data[start[:, None] + np.arange(12)]
    data[start[:, None] + np.arange(-_TAG, 12 - _TAG)] = macs
    tpid = np.where(head["status"] & _TPID_VALID != 0, head["tpid"], _DOT1Q)
    tag = np.stack([tpid, head["tci"]], axis=1).astype(">u2").view(np.uint8)
    data[start[:, None] + np.arange(12 - _TAG, 12)] = tag
