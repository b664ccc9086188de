"""Real and lab captures: counts on which general libraries agree (SOURCES.tsv), and dpkt and sacn on the same packets."""

from __future__ import annotations

import ast
import re
from collections import Counter
from pathlib import Path

import dpkt
import numpy as np
import pytest
from sacn.messages.data_packet import DataPacket

from netwatch.decode.columns import decode
from netwatch.decode.tables import Column, Decoded, Kind
from netwatch.packets.batch import BatchBuilder, PacketBatch, Port
from tests.decode.good import SHARED

REAL, LAB = SHARED / "captures" / "real", SHARED / "captures" / "lab"
FILES = sorted([*REAL.glob("*.pcap*"), *LAB.glob("*.pcap")])
E131, ARTNET = 5568, 6454
COOKED = "arp-linux-cooked-link-type.pcap"

pytestmark = pytest.mark.skipif(not FILES, reason=f"the captures are not at {REAL.parent} (set NETWATCH_SHARED)")


def load(path: Path) -> PacketBatch:
    """The whole file as one batch, read by dpkt."""
    with path.open("rb") as file:
        reader = dpkt.pcapng.Reader(file) if path.suffix == ".pcapng" else dpkt.pcap.Reader(file)
        builder = BatchBuilder((Port(path.stem, reader.datalink()),))
        for i, (_, data) in enumerate(reader):
            builder.add(data, i)
    return builder.take()


def truth(name: str) -> str:
    lines = (REAL / "SOURCES.tsv").read_text().splitlines()
    return next(line.split("\t")[-1] for line in lines if line.startswith(name + "\t"))


def said(name: str, pattern: str) -> dict[str, int]:
    found = re.search(re.escape(pattern) + r" (\{[^}]*\})", truth(name))
    assert found
    return dict(ast.literal_eval(found[1]))


def count(tables: Decoded, kind: Kind) -> int:
    return int((tables.frames.kind == kind).sum())


def counts(column: Column) -> dict[str, int]:
    return {str(value): number for value, number in Counter(column.tolist()).items()}


def told(pattern: str) -> list[str]:
    return [path.name for path in FILES if path.parent == REAL and pattern in truth(path.name)]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_nothing_is_left_unread_or_broken(path: Path) -> None:
    tables = decode(load(path))
    assert tables.undecoded == {}
    assert count(tables, Kind.UNREAD) == count(tables, Kind.BROKEN) == 0


def test_e131_on_a_home_network() -> None:
    name = "e131-with-sync-and-discovery-on-a-home-lan.pcapng"
    tables = decode(load(REAL / name))
    assert counts(tables.levels.universe) == said(name, "data per universe")
    assert counts(tables.syncs.address) == said(name, "sync")
    assert f"discovery {count(tables, Kind.E131_DISCOVERY)};" in truth(name)
    assert not tables.levels.faults.any()


def test_artnet_of_two_nodes() -> None:
    name = "artnet-two-nodes.pcap"
    tables = decode(load(REAL / name))
    assert counts(tables.levels.universe) == said(name, "per port-address")
    opcodes = said(name, "opcodes")
    assert count(tables, Kind.ARTNET_POLL) == opcodes["0x2000"]
    assert count(tables, Kind.ARTNET_REPLY) == opcodes["0x2100"]
    assert count(tables, Kind.ARTNET_LEVELS) == opcodes["0x5000"]


@pytest.mark.parametrize("name", told("ARP req"))
def test_arp_counts(name: str) -> None:
    arps = decode(load(REAL / name)).arps
    found = re.search(r"ARP req (\d+) rep (\d+) grat (\d+) probe (\d+)", truth(name))
    assert found
    gratuitous = (arps.spa == arps.tpa) & (arps.spa != 0)
    probe = (arps.spa == 0) & (arps.op == 1)
    seen = [(arps.op == 1).sum(), (arps.op == 2).sum(), gratuitous.sum(), probe.sum()]
    assert seen == [int(number) for number in found.groups()]


@pytest.mark.parametrize("name", told("DHCP {"))
def test_dhcp_counts(name: str) -> None:
    without_type = re.search(r"bootp/no type (\d+)", truth(name))
    assert without_type
    expected = sum(said(name, "DHCP").values()) + int(without_type[1])
    assert count(decode(load(REAL / name)), Kind.DHCP) == expected


@pytest.mark.parametrize("name", told("IGMP {"))
def test_igmp_counts(name: str) -> None:
    assert count(decode(load(REAL / name)), Kind.IGMP) == sum(said(name, "IGMP").values())


@pytest.mark.parametrize("path", [path for path in FILES if path.name != COOKED], ids=lambda path: path.name)
def test_addresses_and_payloads_as_dpkt_has_them(path: Path) -> None:
    packets = load(path)
    tables = decode(packets)
    frames, rare, levels = tables.frames, tables.rare, tables.levels
    where = dict(zip(rare.row.tolist(), zip(rare.at.tolist(), rare.size.tolist(), strict=True), strict=True))
    slots = dict(zip(levels.row.tolist(), zip(levels.at.tolist(), levels.slots.tolist(), strict=True), strict=True))
    for row in range(packets.rows):
        frame = dpkt.ethernet.Ethernet(packets.packet(row))
        vids = [tag.id for tag in getattr(frame, "vlan_tags", [])]
        assert frames.segment[row] == sum(vid << 12 - 12 * i for i, vid in enumerate(vids))
        assert (frames.mac[row], frames.to_mac[row]) == (int.from_bytes(frame.src), int.from_bytes(frame.dst))
        ip = frame.data
        if not isinstance(ip, dpkt.ip.IP):
            assert (frames.src[row], frames.dst[row]) == (0, 0)
            continue
        assert (frames.src[row], frames.dst[row]) == (int.from_bytes(ip.src), int.from_bytes(ip.dst))
        body = ip.data
        if row in where and isinstance(body, dpkt.udp.UDP):
            at, size = where[row]
            assert packets.data[at : at + size].tobytes() == bytes(body.data)
        if row in slots:
            at, size = slots[row]
            assert packets.data[at : at + size].tobytes() == bytes(body.data)[126 if body.dport == E131 else 18 :][:size]
        lighting = isinstance(body, dpkt.udp.UDP) and body.dport in (E131, ARTNET)
        assert lighting == (1 <= frames.kind[row] <= Kind.ARTNET_OTHER)


@pytest.mark.parametrize("path", [path for path in FILES if path.parent == LAB], ids=lambda path: path.name)
def test_levels_as_the_sacn_library_reads_them(path: Path) -> None:
    packets = load(path)
    levels = decode(packets).levels
    assert len(levels.row)
    for i in np.linspace(0, len(levels.row) - 1, 200).astype(int).tolist():
        udp = dpkt.ethernet.Ethernet(packets.packet(int(levels.row[i]))).data.data
        packet = DataPacket.make_data_packet(tuple(udp.data))
        assert (levels.universe[i], levels.sequence[i]) == (packet.universe, packet.sequence)
        assert (levels.priority[i], levels.sync[i]) == (packet.priority, packet.syncAddr)
        assert levels.options[i] >> 6 & 1 == packet.option_StreamTerminated
        assert int(levels.id_hi[i]).to_bytes(8) + int(levels.id_lo[i]).to_bytes(8) == bytes(packet.cid)
        at = int(levels.at[i])
        assert packets.data[at : at + 512].tobytes() == bytes(packet.dmxData)
