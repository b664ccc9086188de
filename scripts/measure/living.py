"""What listening costs: a cable between two namespaces, tcpreplay at its far end, ``netwatch watch`` at the near one."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from measure import captures
from measure.terminal import ROOT, VIEWS, Terminal, cpu

LINE_RATE = 177_557
"""Full frames of E1.31 a second that fill gigabit Ethernet: 704 octet times each."""
SECONDS = 30
BEGINS = 6
"""s in which a watch has started for certain."""
ALONE = "--no-record"
"""What recording costs is measured in scripts/bench_record.py."""
_WATCH = (sys.executable, "-m", "netwatch", "watch", "--on", "eth0")


@dataclass(frozen=True, slots=True)
class Cable:
    """Two namespaces joined by a cable. Nothing leaves them."""

    far: str
    near: str

    def inside(self, near: bool, *words: str) -> list[str]:
        """A command at one end."""
        return ["ip", "netns", "exec", self.near if near else self.far, *words]

    def came(self) -> int:
        """Packets that the near end's device has taken."""
        words = self.inside(True, "cat", "/sys/class/net/eth0/statistics/rx_packets")
        return int(subprocess.run(words, capture_output=True, check=True).stdout)


@contextmanager
def cable() -> Iterator[Cable]:
    """Made, and gone at the end."""
    ends = Cable(f"nwbench{os.getpid()}a", f"nwbench{os.getpid()}b")
    made: list[str] = []
    try:
        for name in (ends.far, ends.near):
            _run("ip", "netns", "add", name)
            made.append(name)
        _run("ip", "-n", ends.far, "link", "add", "eth0", "type", "veth", "peer", "name", "eth0", "netns", ends.near)
        for name in made:
            _run("ip", "netns", "exec", name, "sysctl", "-qw", "net.ipv6.conf.all.disable_ipv6=1")
            _run("ip", "-n", name, "link", "set", "eth0", "up")
        yield ends
    finally:
        for name in made:
            _run("ip", "netns", "del", name)


def _run(*words: str) -> None:
    subprocess.run(words, check=True, capture_output=True)


@contextmanager
def sent(ends: Cable, path: Path, seconds: int, pps: int | None) -> Iterator[None]:
    """While tcpreplay sends a capture again and again; without a rate as fast as it can."""
    speed = "--topspeed" if pps is None else f"--pps={pps}"
    words = ["tcpreplay", "-q", "-i", "eth0", "-K", speed, "--loop=0", f"--duration={seconds}", str(path)]
    sender = subprocess.Popen(ends.inside(False, *words), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield
    finally:
        sender.terminate()
        sender.wait()


def unable() -> str:
    """Why nothing can be measured here, '' = it can."""
    return "" if os.geteuid() == 0 and shutil.which("tcpreplay") and shutil.which("ip") else "needs root, Linux and tcpreplay"


def line(folder: Path) -> None:
    """The ring at gigabit line rate and above, and 64 universes at their own rate."""
    path, kept = folder / "line.pcap", folder / "kept.pcapng"
    captures.save_light(path, 64, 2 * captures.CYCLE)
    _quiet("177,557 packets/s", path, LINE_RATE, "0 dropped, 40 % with the screen", ALONE)
    _screen("177,557 packets/s, with the screen", path, LINE_RATE)
    _quiet("177,557 packets/s, --keep", path, LINE_RATE, "0 dropped, 60 %", ALONE, "--keep", str(kept))
    _quiet("350,000 packets/s", path, 350_000, "0 dropped", ALONE)
    _quiet("64 universes at 44 Hz", path, 64 * 44, "under 5 %", ALONE)


def _quiet(title: str, path: Path, pps: int | None, goal: str, *options: str) -> None:
    """Without the screen; the CPU time once it runs, its start left out."""
    with cable() as ends, sent(ends, path, SECONDS + BEGINS + 4, pps):
        words = ends.inside(True, *_WATCH, "--for", str(SECONDS + BEGINS + 2), "--json", *options)
        watch = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd=ROOT)
        time.sleep(BEGINS)
        used, rx, begin = cpu(watch.pid), ends.came(), time.perf_counter()
        time.sleep(SECONDS)
        used, came, took = cpu(watch.pid) - used, ends.came() - rx, time.perf_counter() - begin
        told = json.loads(watch.communicate()[0])["capture"]
    print(f"live, {title}: {told['packets']:,} packets, {told['dropped']} dropped, {came / took:,.0f}/s came; "
          f"{100 * used / took:.1f} % of one core     (to reach: {goal})")


def _screen(title: str, path: Path, pps: int) -> None:
    """With the screen."""
    with cable() as ends, sent(ends, path, SECONDS + 12, pps):
        terminal = Terminal(ends.inside(True, *_WATCH))
        try:
            terminal.until(VIEWS[-1][1])
            used, begin = terminal.cpu(), time.perf_counter()
            terminal.read_for(SECONDS)
            share = (terminal.cpu() - used) / (time.perf_counter() - begin)
        finally:
            terminal.close()
    print(f"live, {title}: {share:.1%} of one core     (to reach: under 40 %)")


def storm(folder: Path) -> None:
    """64-octet ARP as fast as tcpreplay makes it: all is counted or told as dropped, the alert comes, keys answer."""
    path = folder / "storm.pcap"
    captures.save(path, ((n * 1_000, captures.arp(7, 100 + n % 200)) for n in range(20_000)))
    with cable() as ends:
        words = ends.inside(True, *_WATCH, "--for", str(SECONDS), "--json")
        run = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd=ROOT)
        time.sleep(5)
        rx, began = ends.came(), time.time()
        with sent(ends, path, 15, None):
            time.sleep(15)
        came = ends.came() - rx
        document = json.loads(run.communicate()[0])
    told = document["capture"]
    counted = told["packets"] + told["dropped"]
    alerts = [each for each in document["alerts"] if each["code"] == "storm"]
    after = f"told {alerts[0]['opened'] - began:.1f} s after tcpreplay's start" if alerts else "NOT TOLD"
    print(f"live, ARP as fast as it comes: {came / 15:,.0f}/s; {came:,} came, {told['packets']:,} counted and "
          f"{told['dropped']:,} dropped by the kernel ({counted - came:+,}); storm {after}     (to reach: none missing, 1 s)")
    with cable() as ends, sent(ends, path, 40, None):
        terminal = Terminal(ends.inside(True, *_WATCH))
        try:
            terminal.until(VIEWS[-1][1])
            terminal.read_for(3)
            took = sorted(_pressed(terminal, *VIEWS[number % len(VIEWS)]) for number in range(40))
        finally:
            terminal.close()
    half, worst = took[len(took) // 2] * 1e3, took[-1] * 1e3
    print(f"live, ARP as fast as it comes: a key answers after {half:.0f} ms, at worst {worst:.0f} ms     (to reach: 100 ms)")


def _pressed(terminal: Terminal, key: str, text: bytes) -> float:
    took = terminal.press(key.encode(), text)
    terminal.read_for(0.2)
    return took
