"""Rare packets as records, by their places in ``Decoded.rare``. Never raises on any bytes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial

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


def read(batch: PacketBatch, decoded: Decoded, index: I64) -> list[Record]:
    """The records of ``decoded.rare`` at ``index``; a BrokenRecord for each whose bytes cannot be what they claim."""
    rare = decoded.rare
    where = zip(*(each[index].tolist() for each in (rare.kind, rare.at, rare.size, rare.cut)), strict=True)
    return [_record(batch, head, *one) for head, one in zip(_heads(batch, decoded, rare.row[index]), where, strict=True)]


def _record(batch: PacketBatch, head: Head, kind: int, at: int, size: int, cut: bool) -> Record:
    reader = Reader(batch.data[at : at + min(size, PAYLOAD_MOST)].tobytes(), cut or size > PAYLOAD_MOST)
    try:
        return _READERS[kind](reader, head)
    except Unreadable as error:
        return BrokenRecord(**head, kind=kind, reason=str(error))


def _heads(batch: PacketBatch, decoded: Decoded, row: I64) -> Iterator[Head]:
    frames = decoded.frames
    told = (each[row] for each in (frames.segment, frames.mac, frames.to_mac, frames.src, frames.dst, batch.start))
    columns = row, *told, np.minimum(batch.caplen[row], RAW_MOST)
    for at, segment, mac, to_mac, src, dst, begin, size in zip(*(each.tolist() for each in columns), strict=True):
        yield Head(
            n=batch.first + at, segment=segment, mac=mac_text(mac), to_mac=mac_text(to_mac),
            src=address_text(src), dst=address_text(dst), raw=batch.data[begin : begin + size].tobytes(),
        )  # fmt: skip
