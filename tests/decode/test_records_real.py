"""Real captures: counts on which two or more general libraries agree (SOURCES.tsv); dpkt finds the payloads here."""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Iterator

import dpkt
import pytest
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.l2 import STP, Ether

from netwatch.decode import artnet_records, dhcp, discovery, igmp, stp
from netwatch.decode.reader import Reader
from netwatch.decode.tables import Dhcp, Igmp
from tests.decode.good import HEAD, SHARED

REAL = SHARED / "captures" / "real"
TYPES = ["", "DISCOVER", "OFFER", "REQUEST", "DECLINE", "ACK", "NAK", "RELEASE", "INFORM"]
WITH_DHCP = [
    "dhcp-every-message-type.pcap", "dhcp-bad-cookie.pcap", "dhcp-option-overload.pcap", "dhcp-one-lease.pcapng",
    "dhcp-among-other-traffic.pcap",
]  # fmt: skip
WITH_IGMP = [
    "igmp-v2-v3-reports-and-leaves.pcap", "igmp-bad-checksum.pcap", "igmp-v3-query-and-reports.pcap",
    "igmp-v3-group-queries.pcap", "e131-with-sync-and-discovery-on-a-home-lan.pcapng",
]  # fmt: skip

pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason=f"the real captures are not at {REAL} (set NETWATCH_SHARED)")


def truth(name: str) -> str:
    """The ground-truth text of one file."""
    lines = (REAL / "SOURCES.tsv").read_text().splitlines()
    return next(line.split("\t")[-1] for line in lines if line.startswith(name + "\t"))


def said(name: str, pattern: str) -> dict[str, int]:
    found = re.search(pattern + r" (\{[^}]*\})", truth(name))
    assert found
    return dict(ast.literal_eval(found[1]))


def packets(name: str) -> Iterator[dpkt.ip.IP]:
    with (REAL / name).open("rb") as file:
        reader = dpkt.pcapng.Reader(file) if name.endswith("ng") else dpkt.pcap.Reader(file)
        for _, data in reader:
            frame = dpkt.ethernet.Ethernet(data)
            if isinstance(frame.data, dpkt.ip.IP):
                yield frame.data


def payloads(name: str, *ports: int) -> list[bytes]:
    datagrams = [packet.data for packet in packets(name) if isinstance(packet.data, dpkt.udp.UDP)]
    return [bytes(datagram.data) for datagram in datagrams if datagram.dport in ports]


def igmps(name: str) -> list[Igmp]:
    """IGMP bodies by the IP header's own lengths."""
    bodies = [bytes(packet)[packet.hl * 4 : packet.len] for packet in packets(name) if packet.p == 2]
    found = [igmp.read(Reader(body), HEAD) for body in bodies]
    assert all(isinstance(message, Igmp) for message in found)
    return [message for message in found if isinstance(message, Igmp)]


def dhcps(name: str) -> list[Dhcp]:
    return [dhcp.read(Reader(payload), HEAD) for payload in payloads(name, 67, 68)]


@pytest.mark.parametrize("name", WITH_DHCP)
def test_dhcp_messages(name: str) -> None:
    messages = dhcps(name)
    counts = Counter(TYPES[message.message] for message in messages)
    bootp = re.search(r"bootp/no type (\d+)", truth(name))
    assert bootp
    assert counts.pop("", 0) == int(bootp[1])
    assert counts == said(name, "DHCP")
    assert len({message.chaddr for message in messages}) == int(re.findall(r"clients (\d+)", truth(name))[0])
    servers = Counter(message.server for message in messages if message.op == 2 and message.message)
    told = re.search(r"by server (\{.*?\}\}|\{\})", truth(name))
    assert told
    assert servers == {server: sum(kinds.values()) for server, kinds in ast.literal_eval(told[1]).items()}


@pytest.mark.parametrize("name", [name for name in WITH_DHCP if "overload" not in name])
def test_dhcp_messages_as_scapy_dissects_them(name: str) -> None:
    """scapy as an oracle on the same bytes; it does not follow overloaded fields."""
    for payload in payloads(name, 67, 68):
        message, other = dhcp.read(Reader(payload), HEAD), BOOTP(payload)
        options = {option[0]: option[1] for option in other[DHCP].options if isinstance(option, tuple)} if DHCP in other else {}
        assert (message.xid, message.secs, message.yiaddr or "0.0.0.0") == (other.xid, other.secs, other.yiaddr)
        assert message.message == options.get("message-type", 0)
        for name_, value in (("server_id", message.server), ("requested_addr", message.requested), ("subnet_mask", message.mask)):
            assert (value or "0.0.0.0") == options.get(name_, "0.0.0.0")
        assert message.lease == options.get("lease_time")
        assert message.host_name == options.get("hostname", b"").decode()
        assert list(message.parameters) == options.get("param_req_list", [])


def test_options_from_overloaded_fields() -> None:
    """The file's own name: its server puts options into the fields of server name and file."""
    messages = [message for message in dhcps("dhcp-option-overload.pcap") if message.op == 2]
    assert messages
    assert all(message.server == "10.100.0.2" and message.mask for message in messages)


def name_of(message: Igmp) -> str:
    if message.what == "query":
        return f"v{message.version}_{'group' if message.group else 'general'}_query"
    leave = message.version == 2 and message.records[0].what == "leave"
    return f"v{message.version}_{'leave' if leave else 'report'}"


@pytest.mark.parametrize("name", WITH_IGMP)
def test_igmp_messages(name: str) -> None:
    messages = igmps(name)
    assert Counter(name_of(message) for message in messages) == said(name, "IGMP")
    leaves = Counter(record.group for message in messages for record in message.records if record.what == "leave")
    assert leaves == said(name, "leaves")
    assert all(message.checksum_good for message in messages) == ("bad-checksum" not in name)


def test_bpdus_as_scapy_dissects_them() -> None:
    """scapy as an oracle on the same bytes; a BPDU stands behind 14 octets of Ethernet and 3 of LLC."""
    with (REAL / "e131-with-sync-and-discovery-on-a-home-lan.pcapng").open("rb") as file:
        frames = [data for _, data in dpkt.pcapng.Reader(file) if data[:6] == bytes.fromhex("0180c2000000")]
    assert frames
    for data in frames:
        bpdu, other = stp.read(Reader(data[17:]), HEAD), Ether(data)[STP]
        assert (bpdu.version, bpdu.type, bpdu.port) == (other.version, other.bpdutype, other.portid)
        assert (bpdu.root, bpdu.bridge) == (f"{other.rootid}/{other.rootmac}", f"{other.bridgeid}/{other.bridgemac}")
        assert bpdu.topology_change == bool(other.bpduflags & 1)


def test_discovery_and_art_net() -> None:
    pages = [
        discovery.read(Reader(payload), HEAD)
        for payload in payloads("e131-with-sync-and-discovery-on-a-home-lan.pcapng", 5568)
        if payload[18:22] == bytes((0, 0, 0, 8)) and payload[40:44] == bytes((0, 0, 0, 2))
    ]
    assert len(pages) == 6
    opcodes = Counter(artnet_records.other(Reader(payload), HEAD).opcode for payload in payloads("artnet-two-nodes.pcap", 6454))
    assert opcodes == {0x2000: 1, 0x2100: 2, 0x5000: 6}
