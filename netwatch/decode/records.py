"""Rare packets as records: one call for one entry of ``Decoded.rare``. Never raises on any bytes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from netwatch.decode import artnet_records, dhcp, discovery, igmp, lldp, noticed, stp
from netwatch.decode.reader import Head, Reader, Unreadable
from netwatch.decode.tables import BrokenRecord, Decoded, Kind, Record
from netwatch.decode.text import address_text, mac_text
from netwatch.packets.batch import PacketBatch

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


def read(batch: PacketBatch, decoded: Decoded, index: int) -> Record:
    """The record of ``decoded.rare`` at ``index``; a BrokenRecord where its bytes cannot be what they claim."""
    rare = decoded.rare
    kind, at, size = int(rare.kind[index]), int(rare.at[index]), int(rare.size[index])
    head = _head(batch, decoded, int(rare.row[index]))
    reader = Reader(
        batch.data[at : at + min(size, PAYLOAD_MOST)].tobytes(), bool(rare.cut[index]) or size > PAYLOAD_MOST
    )
    try:
        return _READERS[kind](reader, head)
    except Unreadable as error:
        return BrokenRecord(**head, kind=kind, reason=str(error))


def _head(batch: PacketBatch, decoded: Decoded, row: int) -> Head:
    frames = decoded.frames
    begin = int(batch.start[row])
    return Head(
        n=batch.first + row,
        segment=int(frames.segment[row]),
        mac=mac_text(int(frames.mac[row])),
        to_mac=mac_text(int(frames.to_mac[row])),
        src=address_text(int(frames.src[row])),
        dst=address_text(int(frames.dst[row])),
        raw=batch.data[begin : begin + min(int(batch.caplen[row]), RAW_MOST)].tobytes(),
    )
