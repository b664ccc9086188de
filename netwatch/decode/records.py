"""Rare packets as records, by their places in ``Decoded.rare``. Never raises on any bytes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from functools import lru_cache, partial
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from netwatch.decode import artnet_records, dhcp, discovery, igmp, lldp, noticed, stp
from netwatch.decode.reader import Head, Reader, Unreadable
from netwatch.decode.tables import BrokenRecord, Decoded, Kind, Record
from netwatch.decode.text import address_text, mac_text
from netwatch.packets.batch import PacketBatch

I64 = npt.NDArray[np.int64]

RAW_MOST = 1_522
"""Octets kept of a packet: the longest tagged Ethernet frame."""
PAYLOAD_MOST = 9_216
"""Octets read of a payload: the longest jumbo frame in use (common practice, no source); a file may claim more."""

_READERS: Mapping[int, Callable[[Reader, Head], Record]] = {
    Kind.DHCP: dhcp.read,
    Kind.IGMP: igmp.read,
    Kind.E131_DISCOVERY: discovery.read,
    Kind.ARTNET_POLL: artnet_records.poll,
    Kind.ARTNET_REPLY: artnet_records.reply,
    Kind.ARTNET_RDM: artnet_records.rdm,
    Kind.ARTNET_OTHER: artnet_records.other,
    Kind.LLDP: lldp.read,
    Kind.STP: stp.read,
    **{
        kind: partial(noticed.read, kind)
        for kind in (Kind.MLD, Kind.E131_IPV6, Kind.E131_DRAFT, Kind.ACN_OTHER)
    },
}

_SAID_AGAIN = frozenset({Kind.IGMP, Kind.E131_DISCOVERY, Kind.ARTNET_POLL, Kind.LLDP, Kind.STP})
"""Kinds whose boxes say the very same again and again."""
_PAYLOADS = 512
"""Payloads of them that are kept at hand."""
_PAIRS = 8_192
"""Senders and receivers whose texts are kept at hand."""
Who: TypeAlias = tuple[int, str, str, str, str]
"""Segment, MACs and addresses."""
_NOBODY: Head = (0, 0, "", "", "", "", b"")


def read(batch: PacketBatch, decoded: Decoded, index: I64) -> list[Record]:
    """The records of ``decoded.rare`` at ``index``; a BrokenRecord for each whose bytes cannot be what they claim."""
    rare, data = decoded.rare, batch.data.data
    row, at, size = rare.row[index], rare.at[index], np.minimum(rare.size[index], PAYLOAD_MOST)
    begin = batch.start[row]
    end = begin + np.minimum(batch.caplen[row], RAW_MOST)
    cut = rare.cut[index] | (rare.size[index] > PAYLOAD_MOST)
    where = (each.tolist() for each in (rare.kind[index], begin, end, at - begin, at - begin + size, cut))
    found: list[Record] = []
    for (n, who), kind, begins, ends, inner, last, is_cut in zip(_who(batch, decoded, row), *where, strict=True):
        raw = data[begins:ends].tobytes()
        payload = raw[inner:last] if begins + last <= ends else data[begins + inner : begins + last].tobytes()
        try:
            if kind in _SAID_AGAIN:
                what, said = _told(kind, payload, is_cut)
                found.append(what(n, *who, raw, *said))
            else:
                found.append(_READERS[kind](Reader(payload, is_cut), (n, *who, raw)))
        except Unreadable as error:
            head: Head = (n, *who, raw)
            found.append(BrokenRecord(*head, kind=kind, reason=str(error)))
    return found


@lru_cache(_PAYLOADS)
def _told(kind: int, payload: bytes, cut: bool) -> tuple[Callable[..., Record], tuple[Any, ...]]:
    """What a payload says, whoever sends it: the kind of record, and its fields behind the head."""
    record = _READERS[kind](Reader(payload, cut), _NOBODY)
    return type(record), tuple([getattr(record, each.name) for each in fields(record)[len(_NOBODY) :]])


def _who(batch: PacketBatch, decoded: Decoded, row: I64) -> Iterator[tuple[int, Who]]:
    """n of rows, and who sent them to whom."""
    frames = decoded.frames
    columns = (each[row].tolist() for each in (frames.segment, frames.mac, frames.to_mac, frames.src, frames.dst))
    return zip((batch.first + row).tolist(), map(_texts, *columns), strict=True)


@lru_cache(_PAIRS)
def _texts(segment: int, mac: int, to_mac: int, src: int, dst: int) -> Who:
    return segment, mac_text(mac), mac_text(to_mac), address_text(src), address_text(dst)
