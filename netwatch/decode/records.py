"""Rare packets as records, by their places in ``Decoded.rare``. Never raises on any bytes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from functools import lru_cache, partial
from typing import Any

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
_NOBODY: Head = (0, 0, "", "", "", "", b"")


def read(batch: PacketBatch, decoded: Decoded, index: I64) -> list[Record]:
    """The records of ``decoded.rare`` at ``index``; a BrokenRecord for each whose bytes cannot be what they claim."""
    rare, data = decoded.rare, batch.data.data
    kinds, places, sizes, cuts = (each[index].tolist() for each in (rare.kind, rare.at, rare.size, rare.cut))
    heads, found = _heads(batch, decoded, rare.row[index]), list[Record]()
    for head, kind, at, size, cut in zip(heads, kinds, places, sizes, cuts, strict=True):
        payload = data[at : at + min(size, PAYLOAD_MOST)].tobytes()
        cut |= size > PAYLOAD_MOST
        try:
            if kind in _SAID_AGAIN:
                what, said = _told(kind, payload, cut)
                found.append(what(*head, *said))
            else:
                found.append(_READERS[kind](Reader(payload, cut), head))
        except Unreadable as error:
            found.append(BrokenRecord(*head, kind=kind, reason=str(error)))
    return found


@lru_cache(_PAYLOADS)
def _told(kind: int, payload: bytes, cut: bool) -> tuple[Callable[..., Record], tuple[Any, ...]]:
    """What a payload says, whoever sends it: the kind of record, and its fields behind the head."""
    record = _READERS[kind](Reader(payload, cut), _NOBODY)
    return type(record), tuple([getattr(record, each.name) for each in fields(record)[len(_NOBODY) :]])


def _heads(batch: PacketBatch, decoded: Decoded, row: I64) -> Iterator[Head]:
    frames, data, begin = decoded.frames, batch.data.data, batch.start[row]
    columns = frames.segment, frames.mac, frames.to_mac, frames.src, frames.dst
    segment, mac, to_mac, src, dst = (each[row].tolist() for each in columns)
    end = begin + np.minimum(batch.caplen[row], RAW_MOST)
    raw = (data[a:b].tobytes() for a, b in zip(begin.tolist(), end.tolist(), strict=True))
    return zip(
        (batch.first + row).tolist(), segment, map(mac_text, mac), map(mac_text, to_mac), map(address_text, src),
        map(address_text, dst), raw, strict=True,
    )  # fmt: skip
