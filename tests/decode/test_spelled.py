"""One packet field by field, against what scapy (layers ARP, IP, UDP, DHCP, IGMP) and the tables of the standards say."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from sacn.messages.data_packet import DataPacket
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.igmp import IGMP
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import ARP, Dot1Q, Ether

from netwatch.decode.spelled import spell
from netwatch.words.spelled import FIELDS, sentence

MAC = "02:00:00:00:00:15"


def fields(packet: bytes) -> dict[str, str | int]:
    out: dict[str, str | int] = {}
    for each in spell(packet):
        assert packet[each.at : each.at + len(each.octets)] == each.octets
        said, clause = sentence(each.what, each.value)
        assert said
        assert clause
        out.setdefault(each.what, each.value)
    return out


def test_arp_in_a_vlan() -> None:
    made = bytes(
        Ether(src=MAC, dst="ff:ff:ff:ff:ff:ff") / Dot1Q(vlan=12) / ARP(op=1, hwsrc=MAC, psrc="10.0.0.21", pdst="10.0.0.1")
    )
    told = fields(made)
    assert (told["vlan"], told["arp operation"], told["arp sender"], told["arp target"]) == (12, 1, "10.0.0.21", "10.0.0.1")
    assert sentence("arp operation", 1)[0] == "ARP: a question"


def test_e131_as_the_sacn_library_writes_it() -> None:
    """ANSI E1.31-2018 table 4-1."""
    data = DataPacket(cid=tuple(range(16)), sourceName="Gatehouse desk", universe=7, dmxData=(255, 128), priority=150, sequence=9)
    made = bytes(Ether(src=MAC) / IP(src="10.0.0.21", dst="239.255.0.7") / UDP(sport=5568, dport=5568) / bytes(data.getBytes()))
    told = fields(made)
    assert told["source name"] == "Gatehouse desk"
    assert (told["priority"], told["universe"], told["sequence"], told["start code"]) == (150, 7, 9, 0)
    assert told["cid"] == bytes(range(16)).hex()
    assert sentence("priority", 150) == ("priority says 150", "E1.31-2018 6.2.3")
    assert str(told["levels"]).startswith("ff80")


def test_dhcp_options() -> None:
    options = [
        ("message-type", "offer"),
        ("server_id", "10.0.0.1"),
        ("lease_time", 3600),
        ("subnet_mask", "255.255.255.0"),
        "end",
    ]
    made = bytes(
        Ether(src=MAC) / IP(src="10.0.0.1", dst="255.255.255.255") / UDP(sport=67, dport=68)
        / BOOTP(op=2, yiaddr="10.0.0.50", chaddr=bytes.fromhex("020000000015")) / DHCP(options=options)
    )  # fmt: skip
    told = fields(made)
    assert (told["option 53"], told["option 54"], told["option 51"], told["option 1"]) == (2, "10.0.0.1", 3600, "255.255.255.0")
    assert (told["your address"], told["client mac"]) == ("10.0.0.50", MAC)


def test_igmp_version_2_report() -> None:
    """RFC 2236 2.1."""
    told = fields(bytes(Ether(src=MAC) / IP(dst="239.255.0.7") / IGMP(type=0x16, gaddr="239.255.0.7")))
    assert (told["igmp type"], told["igmp group"]) == (0x16, "239.255.0.7")
    assert sentence("igmp type", 0x16)[0] == "IGMP: I listen (version 2)"


def test_artdmx() -> None:
    """Art-Net 4, ArtDmx: OpCode and Port-Address with the low octet first."""
    body = b"Art-Net\0" + bytes.fromhex("0050000e09001502000401020304")
    told = fields(bytes(Ether(src=MAC) / IP(dst="10.255.255.255") / UDP(sport=6454, dport=6454) / body))
    assert (told["opcode"], told["port-address"], told["length"]) == (0x5000, 0x0215, 4)
    assert sentence("port-address", 0x0215)[0].endswith("is 2:1:5")


@given(st.binary(max_size=400), st.sampled_from([1, 101]))
def test_any_bytes_are_spelled_without_a_fault(packet: bytes, link: int) -> None:
    for each in spell(packet, link):
        assert packet[each.at : each.at + len(each.octets)] == each.octets
        assert each.what in FIELDS
        assert sentence(each.what, each.value)[0].isprintable()
