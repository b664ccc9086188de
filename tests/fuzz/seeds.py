"""Where fuzzing begins: good frames by the published layouts and by other people's libraries, whole rigs, plans, journals."""

from __future__ import annotations

import gzip
import io
import struct
import tempfile
from collections.abc import Iterable
from pathlib import Path

import openpyxl
from sacn.messages.data_packet import DataPacket
from sacn.messages.sync_packet import SyncPacket
from sacn.messages.universe_discovery import UniverseDiscoveryPacket
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.inet import IP, UDP
from scapy.layers.inet6 import ICMPv6MLReport2, IPv6
from scapy.layers.l2 import ARP, LLC, STP, Dot1Q, Ether
from stupidArtnet import StupidArtnet

from netwatch.packets.blocks import SECTION, packed_block, packed_options, written_interface, written_mark
from netwatch.packets.files import open_captures
from netwatch.packets.keep import packed_packets
from tests.decode.test_columns import GOOD
from tests.record.fed import session, until
from tests.stories import frames
from tests.stories.boxes import DESK
from tests.stories.playing import NS, START, Event, Heard, cut_at, items
from tests.stories.rigs import PORTS, rig

ROOT = Path(__file__).resolve().parents[2]
RIGS = 24
MOST = 24
"""Events of a rig, from all over it: a small one is changed quickly."""
SHEET = [
    ["Name", "Place", "MAC", "IP", "Mask", "Universe", "Protocol", "Role", "Priority"],
    ["gatehouse desk", "gatehouse", "02:00:00:00:00:05", "10.0.0.5", "255.255.255.0", "1-8", "sACN", "desk", "100"],
    ["mill pond", "pond", "02:00:00:00:00:06", "DHCP", "", "3", "sACN", "node", ""],
    ["orchard", "orchard", "", "10.0.0.7/24", "", "0.1.5", "Art-Net", "node", ""],
]


def seeds(target: str) -> list[bytes]:
    """Inputs for a target."""
    return {"capture": captures, "frames": alone, "fold": rigs, "plan": plans, "journal": journals}[target]()


def pcap(packets: Iterable[tuple[int, bytes]], link: int = 1) -> bytes:
    """(ns, frame) as a capture."""
    out = [struct.pack("<IHHiIII", 0xA1B23C4D, 2, 4, 0, 0, 65_535, link)]
    out += [struct.pack("<IIII", time // NS, time % NS, len(frame), len(frame)) + frame for time, frame in packets]
    return b"".join(out)


def made_elsewhere() -> list[bytes]:
    """Frames by scapy, sacn and stupidArtnet."""
    artnet = StupidArtnet("127.0.0.1", 5, 12)
    artnet.set([1] * 12)
    levels = bytes(artnet.packet_header) + bytes(artnet.buffer)
    artnet.close()
    cid = tuple(range(16))
    light = [bytes(each.getBytes()) for each in (
        DataPacket(cid, "sluice desk", 7, (1, 2, 3), 9), SyncPacket(cid, 7, 3),
        UniverseDiscoveryPacket(cid, "sluice desk", (1, 7)),
    )]  # fmt: skip
    options = [("message-type", "discover"), ("hostname", "pond"), "end"]
    ask = BOOTP(chaddr=bytes.fromhex("020000000050"), xid=7) / DHCP(options=options)
    ether = Ether(src="02:00:00:00:00:07", dst="ff:ff:ff:ff:ff:ff")
    made = [ether / IP(dst="239.255.0.7") / UDP(sport=5568, dport=5568) / each for each in light]
    made += [
        ether / IP(dst="10.0.0.9") / UDP(sport=6454, dport=6454) / levels,
        ether / Dot1Q(vlan=5) / IP(src="0.0.0.0", dst="255.255.255.255") / UDP(sport=68, dport=67) / ask,
        ether / ARP(psrc="10.0.0.7", pdst="10.0.0.9"), ether / IPv6(dst="ff02::16") / ICMPv6MLReport2(),
        Ether(dst="01:80:c2:00:00:00", src="02:00:00:00:00:08") / LLC(dsap=66, ssap=66, ctrl=3) / STP(),
    ]  # fmt: skip
    return [bytes(each) for each in made]


def alone() -> list[bytes]:
    """Each good frame in a capture of its own, and all in one."""
    out = [pcap([(START, frame)], link) for frame, link in GOOD.values()]
    out += [pcap([(START, frame)]) for frame in made_elsewhere()]
    ethernet = [frame for frame, link in GOOD.values() if link == 1] + made_elsewhere()
    return [*out, pcap((START + i * NS // 7, frame) for i, frame in enumerate(ethernet))]


def some(number: int) -> list[Event]:
    """A few events of a rig, in order."""
    whole = rig(number)
    return whole[:: -(-len(whole) // MOST)]


def pcapng(number: int) -> bytes:
    """A rig with marks, as a session keeps it."""
    out = [packed_block(SECTION, struct.pack("<IHHq", 0x1A2B3C4D, 1, 0, -1) + packed_options([(1, b"evening")]))]
    out += [written_interface(port) for port in PORTS]
    for item in items(some(number), PORTS, cut_at({5, 12})):
        out.append(bytes(packed_packets(item)) if hasattr(item, "rows") else written_mark(item))  # type: ignore[arg-type,union-attr]
    return b"".join(out)


def captures() -> list[bytes]:
    """Both formats, both byte orders, both clocks, packed, empty and cut."""
    frame = frames.e131(DESK, 1, 0, bytes(4))
    small = pcap([(START, frame), (START + NS, frame), (START + 2 * NS, frame[:40])])
    size = len(frame)
    other = struct.pack(">IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65_535, 1) + struct.pack(">IIII", 5, 6, size, size) + frame
    longer = struct.pack("<IHHiIII", 0xA1B2CD34, 2, 4, 0, 0, 65_535, 1) + struct.pack("<IIII", 5, 6, size, size) + bytes(8)
    kept = [pcapng(number) for number in (1, 2, 3)]
    packed = [*map(gzip.compress, (small, kept[0])), gzip.compress(small) * 2]
    return [small, other, longer + frame, *kept, *packed, b"", small[:24], small[:-7]]


def rigs() -> list[bytes]:
    """Whole rigs as pcap; with marks as pcapng."""
    heard = ([each for each in some(number) if isinstance(each, Heard)] for number in range(RIGS))
    plain = [pcap((max(0, each.time), each.frame) for each in events) for events in heard]
    return [*plain, *map(pcapng, range(RIGS)), alone()[-1]]


def plans() -> list[bytes]:
    """The garden's plan, and a spreadsheet as text and as a workbook."""
    book = openpyxl.Workbook()
    for row in SHEET:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    text = ["\n".join(mark.join(row) for row in SHEET).encode() for mark in ",;\t"]
    garden = (ROOT / "captures" / "garden.toml").read_bytes()
    return [*text, text[0].decode().encode("utf-16"), out.getvalue(), garden, garden[:2_000]]


def journals() -> list[bytes]:
    """Short recorded evenings, and those of the demo captures."""
    short = [items(some(number), PORTS, cut_at({5})) for number in (3, 5, 8)]
    long = [open_captures([path]) for path in sorted((ROOT / "captures").glob("*.pcapng.gz"))]
    out = []
    for source in [*short, *long]:
        with tempfile.TemporaryDirectory() as folder:
            run = session(source, Path(folder))
            run.start()
            until(lambda run=run: run.wait(0.05))
            run.stop()
            out.append((Path(folder) / "journal.sqlite").read_bytes())
    return out
