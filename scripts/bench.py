"""How fast, side by side in one run: best of five, ratios first. Needs the test packages (dpkt, scapy).

    python3 scripts/start.py is for people; this is for developers: .venv/bin/python scripts/bench.py [NAME ...]
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import pty
import re
import resource
import shutil
import struct
import subprocess
import sys
import tempfile
import termios
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

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


class Cable:
    """Two namespaces joined by a cable, for the live benches; gone when closed. Nothing leaves them."""

    def __init__(self) -> None:
        self.far, self.near = f"nwbench{os.getpid()}a", f"nwbench{os.getpid()}b"
        for name in (self.far, self.near):
            run("ip", "netns", "add", name)
        run("ip", "-n", self.far, "link", "add", "eth0", "type", "veth", "peer", "name", "eth0", "netns", self.near)
        for name in (self.far, self.near):
            run("ip", "-n", name, "link", "set", "eth0", "up")

    def __enter__(self) -> Cable:
        return self

    def __exit__(self, *_: object) -> None:
        for name in (self.far, self.near):
            run("ip", "netns", "del", name)


def run(*words: str) -> None:
    """A command that must succeed."""
    subprocess.run(words, check=True, capture_output=True)


def listen(cable: Cable, seconds: float, *options: str, screen: bool = False) -> tuple[str, float]:
    """Run ``netwatch watch`` in the near namespace: (what it wrote, its CPU seconds)."""
    words = ["ip", "netns", "exec", cable.near, sys.executable, "-m", "netwatch", "watch", "--on", "eth0", "--for", str(seconds)]
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    if screen:
        text = on_terminal([*words, *options])
    else:
        text = subprocess.run([*words, "--json", *options], capture_output=True, text=True, check=False, cwd=ROOT).stdout
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return text, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def on_terminal(words: list[str]) -> str:
    """Run a command on a pseudo-terminal of 120 x 40; all that it wrote."""
    child, terminal = pty.fork()
    if child == 0:
        os.chdir(ROOT)
        os.execvpe(words[0], words, {**os.environ, "TERM": "xterm-256color", "COLUMNS": "120", "LINES": "40"})
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    written = bytearray()
    with contextlib.suppress(OSError):  # the terminal ends with its program
        while piece := os.read(terminal, 65_536):
            written += piece
    os.waitpid(child, 0)
    return written.decode("utf-8", "replace")


def live(folder: Path) -> None:
    """From the ring: gigabit line rate with and without the screen, and 64 universes at their own rate."""
    if os.geteuid() != 0 or not shutil.which("tcpreplay"):
        print("live: needs root, Linux and tcpreplay")
        return
    capture = folder / "line.pcap"
    write(capture, 64, 20)
    for title, pps, screen in (
        ("177,557 packets/s, no screen", 177_557, False), ("177,557 packets/s, with the screen", 177_557, True),
        ("64 universes at 44 Hz, no screen", 2_816, False),
    ):
        with Cable() as cable:
            seconds = 30
            sender = subprocess.Popen(
                ["ip", "netns", "exec", cable.far, "tcpreplay", "-q", "-i", "eth0", "-K", f"--pps={pps}", "--loop=0",
                 f"--duration={seconds + 1}", str(capture)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            )
            text, used = listen(cable, seconds + 3, screen=screen)
            sender.wait()
        if screen:
            said = re.findall(r"dropped (\d[\d,]*)|([Nn]o packets? dropped)", re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", text))
            print(f"live, {title}: {100 * used / seconds:.1f} % of one core, screen says {said[-1] if said else 'nothing of drops'}")
        else:
            capture_facts = json.loads(text)["capture"]
            print(f"live, {title}: {capture_facts['packets']:,} packets, {capture_facts['dropped']} dropped, "
                  f"{100 * used / seconds:.1f} % of one core")


BENCHES: dict[str, Callable[[Path], None]] = {"replay": replay, "live": live}


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
