"""How fast, side by side in one run: best of five, ratios first. Needs the test packages (dpkt, scapy).

    python3 scripts/start.py is for people; this is for developers: .venv/bin/python scripts/bench.py [NAME ...]
"""

from __future__ import annotations

import struct
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import numpy as np

ROUNDS = 5
CID = bytes.fromhex("6f1c2d3e4a5b4c6d8e7f0a1b2c3d5f01")
START = 1_795_600_000


def e131(universe: int, sequence: int, slots: bytes) -> bytes:
    """One Ethernet frame of E1.31 data (E1.31-2018 Table 4-1)."""
    n = len(slots)
    data = b"\x00\x10\x00\x00ASC-E1.17\0\0\0" + struct.pack(">HI", 0x7000 | (110 + n), 4) + CID
    data += struct.pack(">HI", 0x7000 | (88 + n), 2) + b"gatehouse desk".ljust(64, b"\0")
    data += struct.pack(">BHBBH", 100, 0, sequence & 255, 0, universe)
    data += struct.pack(">HBBHHH", 0x7000 | (11 + n), 2, 0xA1, 0, 1, n + 1) + b"\0" + slots
    udp = struct.pack(">HHHH", 5568, 5568, 8 + len(data), 0) + data
    group = bytes([239, 255, universe >> 8, universe & 255])
    ip = struct.pack(">BBHHHBBH4s4s", 0x45, 0, 20 + len(udp), 0, 0, 64, 17, 0, bytes([10, 0, 0, 5]), group) + udp
    return bytes([1, 0, 0x5E, 0x7F, universe >> 8, universe & 255]) + bytes([2, 0, 0, 0, 0, 5]) + b"\x08\x00" + ip


def write(path: Path, universes: int, seconds: float, hz: int = 44) -> int:
    """A capture (pcap, ns) of full universes that fade; gives its packets."""
    ramp = np.arange(512)
    with path.open("wb") as out:
        out.write(struct.pack("<IHHiIII", 0xA1B23C4D, 2, 4, 0, 0, 65_535, 1))
        for frame in range(int(seconds * hz)):
            for universe in range(1, universes + 1):
                packet = e131(universe, frame, ((ramp + frame * (universe % 3)) % 256).astype(np.uint8).tobytes())
                at = frame * 1_000_000_000 // hz + universe * 4_000
                out.write(struct.pack("<IIII", START + at // 1_000_000_000, at % 1_000_000_000, len(packet), len(packet)) + packet)
    return int(seconds * hz) * universes


def best(work: Callable[[], int]) -> float:
    """Packets a second, best of ``ROUNDS``; ``work`` gives the packets it handled."""
    rates = []
    for _ in range(ROUNDS):
        begin = time.perf_counter()
        packets = work()
        rates.append(packets / (time.perf_counter() - begin))
    return max(rates)


def ours(path: Path) -> int:
    """The whole way: read, decode, model, all rules."""
    from netwatch.numbers import DEFAULTS
    from netwatch.packets.files import open_captures
    from netwatch.story.play import Player

    player = Player(DEFAULTS)
    for item in open_captures([str(path)]):
        player.feed(item)
    player.finish()
    return player.snapshot().packets


def with_dpkt(path: Path) -> int:
    """dpkt: Ethernet, IP and UDP as objects, nothing of E1.31."""
    import dpkt

    packets = 0
    with path.open("rb") as file:
        for _, frame in dpkt.pcap.Reader(file):
            packets += len(dpkt.ethernet.Ethernet(frame).data.data.data) > 0
    return packets


def with_scapy(path: Path, most: int = 3_000) -> int:
    """scapy: general dissection, of the first packets only."""
    from scapy.all import Ether  # all layers, as a user gets them
    from scapy.utils import RawPcapReader

    packets = 0
    with RawPcapReader(str(path)) as reader:
        for frame, _ in reader:
            packets += len(Ether(frame)) > 0
            if packets >= most:
                break
    return packets


def replay(folder: Path) -> None:
    """64 full universes at 44 Hz: against dpkt and scapy on the same bytes; and a small rig against real time."""
    large, small = folder / "large.pcap", folder / "small.pcap"
    write(large, 64, 60)
    write(small, 4, 900)
    mine, dpkt_rate, scapy_rate = best(lambda: ours(large)), best(lambda: with_dpkt(large)), best(lambda: with_scapy(large))
    real = best(lambda: ours(small)) / (4 * 44)
    print("replay, 64 universes of 512 slots at 44 Hz, one process, all rules on")
    print(f"  {mine / scapy_rate:6.0f} times scapy   {mine / dpkt_rate:5.1f} times dpkt")
    print(f"  netwatch {mine:10,.0f} packets/s   dpkt {dpkt_rate:10,.0f}   scapy {scapy_rate:8,.0f}")
    print(f"replay, 4 universes: {real:,.0f} times real time")


BENCHES: dict[str, Callable[[Path], None]] = {"replay": replay}


def main() -> None:
    """Run the named benches, or all."""
    names = sys.argv[1:] or list(BENCHES)
    for name in names:
        if name not in BENCHES:
            sys.exit(f"No bench is called {name!r}; there are: {', '.join(BENCHES)}.")
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            BENCHES[name](Path(folder))


if __name__ == "__main__":
    main()
