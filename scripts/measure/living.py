"""What listening costs: a cable between two namespaces, tcpreplay at its far end, ``netwatch watch`` at the near one."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from measure import captures
from measure.terminal import ROOT, VIEWS, Terminal, cpu

LINE_RATE = 177_557
"""Full frames of E1.31 a second that fill gigabit Ethernet: 704 octet times each."""
SECONDS = 60
"""s for which CPU time is taken."""
BEGINS, ENDS = 6, 3
"""s in which a watch has started for certain, and in which it has told the last packets."""
ALONE = "--no-record"
"""What recording costs is measured in scripts/bench_record.py."""
WATCH = ("env", "-u", "SUDO_UID", sys.executable, "-m", "netwatch", "watch", "--on", "eth0")
"""It stays root's, so that it can record into the bench's folder."""


def recorded(folder: Path) -> tuple[str, str]:
    """A watch records, as it does by itself, but not among the user's own sessions, which would make room for it."""
    return "--journal", str(folder / "journal")


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
def sent(ends: Cable, path: Path, seconds: int, pps: int | None, *, ordinary: bool = False) -> Iterator[None]:
    """While tcpreplay sends a capture again and again; without a rate as fast as it can.

    ``ordinary`` = it has no real-time place, though the bench may have one: wherever keys are pressed. A sender in real time
    keeps the kernel's own worker that carries keys through a pseudo-terminal waiting, up to 0.95 of each second.
    """
    speed = "--topspeed" if pps is None else f"--pps={pps}"
    words = ["tcpreplay", "-q", "-i", "eth0", "-K", speed, "--loop=0", f"--duration={seconds}", str(path)]
    sender = subprocess.Popen(ends.inside(False, *words), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        if ordinary:
            os.sched_setscheduler(sender.pid, os.SCHED_OTHER, os.sched_param(0))
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
    _screen("177,557 packets/s, with the screen, recorded", path, LINE_RATE, "0 dropped, under 40 %", *recorded(folder))
    _quiet("177,557 packets/s, --keep", path, LINE_RATE, "0 dropped, 60 %", ALONE, "--keep", str(kept))
    kept.unlink()
    _quiet("350,000 packets/s", path, 350_000, "0 dropped", ALONE)
    _quiet("64 universes at 44 Hz", path, 64 * 44, "under 5 %", ALONE)


def _quiet(title: str, path: Path, pps: int, goal: str, *options: str) -> None:
    """Without the screen."""
    with cable() as ends:
        words = ends.inside(True, *WATCH, "--for", str(2 * BEGINS + SECONDS + ENDS), "--json", *options)
        watch = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd=ROOT)
        time.sleep(BEGINS)
        taken, came = _taken(ends, path, pps, watch.pid, time.sleep)
        told = json.loads(watch.communicate()[0])["capture"]
    _tell(title, told["packets"], told["dropped"], came, taken, goal)


def _screen(title: str, path: Path, pps: int, goal: str, *options: str) -> None:
    """With the screen, by what stands on it once the last packet has come."""
    with cable() as ends:
        terminal = Terminal(ends.inside(True, *WATCH, *options))
        try:
            terminal.until(VIEWS[-1][1])
            taken, came = _taken(ends, path, pps, terminal.pid, terminal.read_for)
            terminal.read_for(ENDS - 1)
            seen = terminal.read_for(ENDS)
        finally:
            terminal.close()
    packets = re.findall(rb"([0-9,]+) packets", seen)[-1]
    dropped = re.findall(rb"none dropped|! ([0-9,]+) dropped", seen)[-1]
    _tell(title, _number(packets), _number(dropped or b"0"), came, taken, goal)


def _taken(ends: Cable, path: Path, pps: int, pid: int, wait: Callable[[float], object]) -> tuple[str, int]:
    """Packets a second and the share of a core that a watch takes, once it is sent to evenly; and all that came."""
    before = ends.came()
    with sent(ends, path, 2 * SECONDS, pps):
        wait(BEGINS)
        used, rx, begin = cpu(pid), ends.came(), time.perf_counter()
        wait(SECONDS)
        used, rx, took = cpu(pid) - used, ends.came() - rx, time.perf_counter() - begin
    return f"{rx / took:,.0f}/s for {took:.0f} s at {used / took:.1%} of one core", ends.came() - before


def _tell(title: str, packets: int, dropped: int, came: int, taken: str, goal: str) -> None:
    print(f"live, {title}: {taken}; {came:,} came, {packets:,} counted and {dropped:,} dropped ({packets + dropped - came:+,})"
          f"     (to reach: {goal})")


def _number(text: bytes) -> int:
    return int(text.replace(b",", b""))
