"""What of each packet is kept: other people's without their content, light without slots that say nothing new, or without any.

A packet is cut, never changed, so that it is read again as a packet that the capture cut (contracts 3).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from netwatch.decode.link import ARP, IPV4, IPV6, Links, links
from netwatch.decode.sorting import Sorting
from netwatch.decode.tables import E131, Decoded, Kind
from netwatch.packets.batch import PacketBatch

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]

_LIGHT = frozenset({
    Kind.E131_DATA, Kind.ARTNET_LEVELS, Kind.BROKEN, Kind.E131_IPV6, Kind.E131_DRAFT, Kind.ACN_OTHER,
})  # fmt: skip
_TALK = frozenset({
    Kind.E131_SYNC, Kind.E131_DISCOVERY, Kind.ARTNET_SYNC, Kind.ARTNET_POLL, Kind.ARTNET_REPLY, Kind.ARTNET_RDM,
    Kind.ARTNET_OTHER, Kind.ARP, Kind.DHCP, Kind.IGMP, Kind.LLDP, Kind.STP, Kind.MLD,
})  # fmt: skip
"""All but the levels: what the boxes of a rig say to each other."""
_IS_LIGHT, _IS_TALK = (np.isin(np.arange(256), [int(kind) for kind in kinds]) for kinds in (_LIGHT, _TALK))

_E131_SLOTS, _ARTNET_SLOTS = 126, 18
"""Octets before slot 1 (E1.31-2018 table 4-1; Art-Net 4 (1.4di) p.60)."""
_UDP, _TCP, _IPV6 = 8, 20, 40
_PROTOCOL_UDP, _PROTOCOL_TCP = 17, 6
_UNKNOWN = 34
"""Octets of a packet that can't be read: as many as the headers of Ethernet and IPv4."""
_SLOTS = 512
_FACTORS: U64 = (np.arange(1, 65, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)) | np.uint64(1)
"""Odd, so that a change of one word always changes the print."""


def talk(decoded: Decoded) -> npt.NDArray[np.bool_]:
    """Which rows are of the rig's own talk."""
    return _IS_TALK[decoded.frames.kind]


class Cutter:
    """Remembers the newest frame of each stream, to know which say nothing new."""

    def __init__(self, *, whole: bool = False, headers_only: bool = False) -> None:
        """``whole`` = frames that say nothing new stay whole, too; ``headers_only`` = no levels at all."""
        self.whole, self.headers_only = whole, headers_only
        self._newest: dict[int, int] = {}

    def forget(self) -> None:
        """The next frame of each stream stays whole: a new file begins."""
        self._newest.clear()

    def cut(self, batch: PacketBatch, decoded: Decoded, spared: Collection[int] = ()) -> PacketBatch:
        """The same rows with what is to be kept of each; ``spared`` = rows that stay whole though they say nothing new."""
        kind = decoded.frames.kind
        keep = batch.caplen.astype(np.int64)
        if self.headers_only:
            _cut_all(batch, keep, np.flatnonzero(_IS_LIGHT[kind]), decoded)
        elif not self.whole:
            self._cut_old(batch, keep, decoded)
            keep[list(spared)] = batch.caplen[list(spared)]
        _cut_people(batch, keep, np.flatnonzero(~_IS_LIGHT[kind] & ~_IS_TALK[kind]))
        if (keep == batch.caplen).all():
            return batch
        return replace(batch, caplen=np.minimum(keep, batch.caplen).astype(np.int32))

    def _cut_old(self, batch: PacketBatch, keep: I64, decoded: Decoded) -> None:
        """Frames whose slots are those of the stream's frame before."""
        levels = decoded.levels
        index = np.flatnonzero((levels.at >= 0) & (levels.start_code == 0))
        if not len(index):
            return
        row, slots = levels.row[index], levels.slots[index]
        prints = _prints(batch, levels.at[index], slots)
        key = (
            levels.id_hi[index] * _FACTORS[0] + levels.id_lo[index] * _FACTORS[1]
            + levels.universe[index].astype(np.uint64) * _FACTORS[2]
            + decoded.frames.segment[row].astype(np.uint64) * _FACTORS[3]
            + decoded.frames.dst[row].astype(np.uint64) * _FACTORS[4]
            + levels.protocol[index].astype(np.uint64)
        )  # fmt: skip
        order = np.argsort(key, kind="stable")
        key, prints, row, at = key[order], prints[order], row[order], levels.at[index][order]
        opens = np.append(True, key[1:] != key[:-1])
        same = np.append(False, prints[1:] == prints[:-1]) & ~opens
        begins = np.flatnonzero(opens)
        ends = np.append(begins[1:], len(key)) - 1
        for begin, end, each in zip(begins.tolist(), ends.tolist(), key[begins].tolist(), strict=True):
            same[begin] = self._newest.get(each) == int(prints[begin])
            self._newest[each] = int(prints[end])
        keep[row[same]] = (at - batch.start[row])[same]


def _prints(batch: PacketBatch, at: I64, slots: npt.NDArray[np.int32]) -> U64:
    """[rows] a number for the slots of each frame."""
    data = np.concatenate([batch.data, np.zeros(_SLOTS, np.uint8)]) if int(at.max()) + _SLOTS > len(batch.data) else batch.data
    frames = np.ndarray((len(data) - _SLOTS + 1,), "V512", data, strides=(1,))[at].view(np.uint8).reshape(-1, _SLOTS)
    if int(slots.min()) < _SLOTS:
        frames[np.arange(_SLOTS) >= slots[:, None]] = 0
    with np.errstate(over="ignore"):
        return np.asarray(frames.view(np.uint64) @ _FACTORS + slots.astype(np.uint64), np.uint64)


def _cut_all(batch: PacketBatch, keep: I64, rows: I64, decoded: Decoded) -> None:
    """Light without its slots, however it came."""
    if not len(rows):
        return
    headers = _headers(batch, rows)
    artnet = (decoded.frames.kind[rows] == Kind.ARTNET_LEVELS) | np.isin(rows, _artnet_broken(decoded))
    keep[rows] = np.minimum(keep[rows], headers + np.where(artnet, _ARTNET_SLOTS, _E131_SLOTS))


def _artnet_broken(decoded: Decoded) -> I64:
    broken = decoded.broken
    return np.asarray(broken.row[broken.protocol != E131], np.int64)


def _cut_people(batch: PacketBatch, keep: I64, rows: I64) -> None:
    """Headers up to UDP or TCP; nothing behind them."""
    if len(rows):
        keep[rows] = np.minimum(keep[rows], _headers(batch, rows))


def _headers(batch: PacketBatch, rows: I64) -> I64:
    """Octets of each row up to the end of its UDP or TCP header, as far as its headers can be told."""
    some = batch.chosen(rows)
    link = links(Sorting(some))
    size = link.at - some.start
    return np.where(link.type == IPV4, size + _ipv4(some, link), np.where(
        link.type == IPV6, size + _IPV6 + _UDP, np.where(link.type == ARP, some.caplen, np.maximum(size, _UNKNOWN))
    ))  # fmt: skip


def _ipv4(some: PacketBatch, link: Links) -> I64:
    """Octets of the IPv4 header and of what follows directly."""
    last = len(some.data) - 10
    at = np.minimum(link.at, last)
    ihl = (some.data[at] & 0xF).astype(np.int64) * 4
    protocol = some.data[at + 9]
    return ihl + np.where(protocol == _PROTOCOL_UDP, _UDP, np.where(protocol == _PROTOCOL_TCP, _TCP, 0))
