"""Good messages as bytes, each with its published source, and a hand-made batch around one payload."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from netwatch.decode.reader import Head
from netwatch.decode.tables import Arps, Broken, Decoded, Frames, Kind, Levels, Rare, Syncs
from netwatch.packets.batch import BatchBuilder, PacketBatch, Port

SHARED = Path(os.environ.get("NETWATCH_SHARED") or Path(__file__).resolve().parents[3] / "shared")
"""Where captures that are not for the repository stand."""

HEAD: Head = (
    7, 0, "02:00:00:00:00:01", "ff:ff:ff:ff:ff:ff", "10.0.0.1", "10.0.0.2", b"raw"
)


def octets(text: str) -> bytes:
    """Hex with blanks and line ends as bytes."""
    return bytes.fromhex(text)


def dhcp(options: bytes, *, op: int = 1, sname: bytes = b"", file: bytes = b"", **addresses: bytes) -> bytes:
    """A message laid out by RFC 2131 figure 1: BROADCAST flag set, client 02:00:00:00:00:50, xid 11223344."""
    zero = bytes(4)
    return (
        bytes((op, 1, 6, 0)) + octets("11 22 33 44 00 03 80 00")
        + b"".join(addresses.get(name, zero) for name in ("ciaddr", "yiaddr", "siaddr", "giaddr"))
        + octets("02 00 00 00 00 50").ljust(16, b"\0")
        + sname.ljust(64, b"\0") + file.ljust(128, b"\0")
        + octets("63 82 53 63") + options
    )  # fmt: skip


DHCP_DISCOVER = dhcp(octets("35 01 01  3d 07 01 02 00 00 00 00 50  0c 06 6e 6f 64 65 2d 61  37 06 01 03 33 3a 3b 36  ff"))
"""RFC 2131 table 5: options 53, 61, 12 and 55."""
DHCP_OFFER = dhcp(
    octets("35 01 02  36 04 0a 00 00 01  33 04 00 00 0e 10  3a 04 00 00 07 08  3b 04 00 00 0c 4e"
           "01 04 ff ff ff 00  03 08 0a 00 00 01 0a 00 00 02  1c 04 0a 00 00 ff  ff 00 00 00"),
    op=2, yiaddr=bytes((10, 0, 0, 100)),
)  # fmt: skip
"""RFC 2131 table 3; T1 and T2 of a lease of 3600 s are 1800 and 3150 s (4.4.5)."""

# IGMP: formats of RFC 2236 section 2 and RFC 9776 section 4, checksums of RFC 1071.
IGMP = {
    "v1 query": octets("11 00 ee ff 00 00 00 00"),
    "v2 query": octets("11 64 ee 9b 00 00 00 00"),
    "v2 group query": octets("11 0a fe f4 ef ff 00 01"),
    "v2 report": octets("16 00 f9 fe ef ff 00 01"),
    "v2 leave": octets("17 00 f8 fe ef ff 00 01"),
    "v3 query": octets("11 64 ec 1e 00 00 00 00 02 7d 00 00"),
    "v3 join": octets("22 00 e9 fd 00 00 00 01 04 00 00 00 ef ff 00 01"),
    "v3 answer": octets("22 00 eb fd 00 00 00 01 02 00 00 00 ef ff 00 01"),
    "v3 leave": octets("22 00 ea fd 00 00 00 01 03 00 00 00 ef ff 00 01"),
}

DISCOVERY_3 = octets(
    """00 10 00 00 41 53 43 2d 45 31 2e 31 37 00 00 00 70 6e 00 00 00 08 6f 1c 2d 3e 4a 5b 4c 6d 8e 7f
    0a 1b 2c 3d 5f 01 70 58 00 00 00 02 46 4f 48 20 74 65 73 74 20 73 6f 75 72 63 65 00 00 00 00 00
    00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00
    00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 70 0e 00 00 00 01 00 00 00 01 01 2c f9 ff"""
)
"""E1.31-2018 table 4-3 with three universes."""
DISCOVERY_0 = DISCOVERY_3[:17] + b"\x68" + DISCOVERY_3[18:39] + b"\x52" + DISCOVERY_3[40:113] + b"\x08" + DISCOVERY_3[114:120]
"""The same with an empty list (E1.31-2018 8.4)."""
DRAFT = octets(
    """00 10 00 00 41 53 43 2d 45 31 2e 31 37 00 00 00 70 4e 00 00 00 03 6f 1c 2d 3e 4a 5b 4c 6d 8e 7f
    0a 1b 2c 3d 5f 01 70 38 00 00 00 02 4f 6c 64 20 64 72 61 66 74 20 73 6f 75 72 63 65 00 00 00 00
    00 00 00 00 00 00 00 00 00 00 00 00 64 07 00 02 70 0e 02 a1 00 00 00 01 00 04 01 02 03 04"""
)
"""The draft before E1.31-2009, as two public source listings have it."""

# Art-Net 4, revision 1.4di.
ART = octets("41 72 74 2d 4e 65 74 00")
ART_POLL_22 = ART + octets("00 20 00 0e 06 40 00 00 00 00 7f f0 00 ff")
"""Page 17."""
ART_POLL_14 = ART + octets("00 20 00 0e 02 10")
"""Page 16: valid from 14 octets."""
ART_POLLREPLY = octets(
    """41 72 74 2d 4e 65 74 00 00 21 02 0b 04 09 36 19 01 07 01 02 00 ff 00 d2 f0 7f 50 6f 72 74 20 31
    00 00 00 00 00 00 00 00 00 00 00 00 45 78 61 6d 70 6c 65 20 67 61 74 65 77 61 79 2c 20 67 72 69
    64 20 6c 65 66 74 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00
    00 00 00 00 00 00 00 00 00 00 00 00 23 30 30 30 31 20 5b 30 30 34 32 5d 20 50 6f 77 65 72 20 6f
    6e 20 74 65 73 74 73 20 4f 4b 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00
    00 00 00 00 00 00 00 00 00 00 00 00 00 01 80 00 00 00 00 00 00 00 88 00 00 00 00 00 00 00 05 00
    00 00 64 00 00 00 00 00 00 02 00 00 0c 04 09 02 0b 04 09 01 1c 40 00 00 00 28 7f f0 00 00 04 09
    00 00 00 2c 00 00 00 00 00 00 00 00 00 00 00"""
)
"""Pages 24 to 32."""
ART_TODREQUEST = ART + octets("00 80 00 0e 00 00 00 00 00 00 00 00 00 01 00 01 25") + bytes(31)
"""Page 83."""
ART_TODDATA = ART + octets(
    "00 81 00 0e 01 01 00 00 00 00 00 00 01 01 00 25 00 02 00 02 7f f0 01 02 03 04 7f f0 01 02 03 05"
)
"""Pages 84 to 86."""
ART_TODCONTROL = ART + octets("00 82 00 0e 00 00 00 00 00 00 00 00 00 01 01 25")
"""Pages 87 and 88."""
ART_RDM = ART + octets(
    "00 83 00 0e 01 00 00 00 00 00 00 00 00 01 00 25 01 18 7f f0 01 02 03 04 7f f0 00 00 00 01 07 01 00 00 00 20 00 60 00 04 56"
)
"""Page 90; the message is GET DEVICE_INFO of E1.20-2010 6.2 without its START code."""
ART_RDMSUB = ART + octets("00 84 00 0e 01 00 7f f0 01 02 03 04 00 30 00 f0 00 01 00 02 00 00 00 00 00 01 00 19")
"""Page 92."""
ART_TIMECODE = ART + octets("00 97 00 0e 00 00 04 03 02 01 01")
"""Pages 50 and 51."""

# LLDP: IEEE 802.1AB clause 8, IEEE 802.1Q annex D; from memory, compared with scapy's dissector in test_lldp.
LLDP = octets(
    "02 07 04 02 77 00 00 00 fe  04 03 07 67 31  06 02 00 78  08 07 6d 69 6c 6c 20 31 32  0a 0a 67 61 74 65 2d 68 6f 75 73 65"
    "fe 06 00 80 c2 01 00 0c  00 00"
)
# Spanning tree: IEEE 802.1D-2004 9.3; from memory, compared with scapy's dissector in test_stp.
STP_CONFIG = octets(
    "00 00 00 00 01 80 00 02 77 00 00 00 01 00 00 00 04 80 01 02 77 00 00 00 fe 80 02 01 00 14 00 02 00 0f 00"
)
STP_RST = octets(
    "00 00 02 02 3c 80 00 02 77 00 00 00 01 00 00 00 04 80 01 02 77 00 00 00 fe 80 02 01 00 14 00 02 00 0f 00 00"
)
STP_NOTICE = octets("00 00 00 80")

GOOD: dict[str, tuple[Kind, bytes]] = {
    "DISCOVER": (Kind.DHCP, DHCP_DISCOVER),
    "OFFER": (Kind.DHCP, DHCP_OFFER),
    **{name: (Kind.IGMP, payload) for name, payload in IGMP.items()},
    "discovery": (Kind.E131_DISCOVERY, DISCOVERY_3),
    "empty discovery": (Kind.E131_DISCOVERY, DISCOVERY_0),
    "poll": (Kind.ARTNET_POLL, ART_POLL_22),
    "short poll": (Kind.ARTNET_POLL, ART_POLL_14),
    "reply": (Kind.ARTNET_REPLY, ART_POLLREPLY),
    "ToD request": (Kind.ARTNET_RDM, ART_TODREQUEST),
    "ToD data": (Kind.ARTNET_RDM, ART_TODDATA),
    "ToD control": (Kind.ARTNET_RDM, ART_TODCONTROL),
    "RDM": (Kind.ARTNET_RDM, ART_RDM),
    "RDM sub": (Kind.ARTNET_RDM, ART_RDMSUB),
    "time code": (Kind.ARTNET_OTHER, ART_TIMECODE),
    "LLDP": (Kind.LLDP, LLDP),
    "STP": (Kind.STP, STP_CONFIG),
    "RST": (Kind.STP, STP_RST),
    "TCN": (Kind.STP, STP_NOTICE),
    "MLD": (Kind.MLD, octets("8f 00 00 00 00 00 00 00")),
    "E1.31 over IPv6": (Kind.E131_IPV6, DISCOVERY_3),
    "draft": (Kind.E131_DRAFT, DRAFT),
    "other ACN": (Kind.ACN_OTHER, DISCOVERY_3[:21] + b"\x01" + DISCOVERY_3[22:]),
}
"""One message of every shape, by name."""

LINK = bytes.fromhex("ffffffffffff 020000000001 0800")
"""Stands before the payload in a hand-made packet; the records take addresses from Frames only."""


def around(kind: Kind, payload: bytes, *, cut: bool = False, behind: bytes = b"") -> tuple[PacketBatch, Decoded]:
    """A batch of two packets whose second holds ``payload`` from octet 14 on, then ``behind``, and its tables by hand."""
    builder = BatchBuilder((Port("demo", 1),), first=40)
    builder.add(bytes(60), 0)
    builder.add(LINK + payload + behind, 1, wirelen=len(LINK + payload) + 500 * cut)
    batch = builder.take()
    none = np.zeros(0, np.int64)
    frames = Frames(
        kind=np.array([Kind.OTHER, kind], np.uint8), segment=np.array([0, 1 << 12], np.uint32),
        mac=np.array([0, 0x020000000001], np.uint64), to_mac=np.array([0, 0xFFFFFFFFFFFF], np.uint64),
        cast=np.array([0, 2], np.uint8), src=np.array([0, 0x0A000005], np.uint32), dst=np.array([0, 0xFFFFFFFF], np.uint32),
    )  # fmt: skip
    rare = Rare(
        row=np.array([1], np.int32), kind=np.array([kind], np.uint8), at=np.array([60 + len(LINK)], np.int64),
        size=np.array([len(payload)], np.int32), cut=np.array([cut]), sport=np.array([0], np.uint16),
        dport=np.array([0], np.uint16),
    )  # fmt: skip
    decoded = Decoded(
        frames, Levels(*[none] * 15), Syncs(*[none] * 6), Arps(*[none] * 6), rare, Broken(*[none] * 3), undecoded={}
    )
    return batch, decoded
