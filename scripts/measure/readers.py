"""Ways to read one capture: netwatch as a whole, dpkt, scapy, and what the machine could do at most."""

from __future__ import annotations

import ctypes
import ctypes.util
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from netwatch.alerts.alert import Alert, Event
from netwatch.network.figures import Figures
from netwatch.network.network import Network
from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import PacketBatch
from netwatch.packets.files import open_captures
from netwatch.story.play import Player


def ours(path: Path) -> int:
    """The whole way: read, decode, model, all rules."""
    player = Player(DEFAULTS)
    for item in open_captures([str(path)]):
        player.feed(item)
    player.finish()
    return player.network.packets


def rules_share(path: Path) -> float:
    """Share of all CPU time that judging takes."""
    player, spent = Player(DEFAULTS), [0.0]
    judge = player.judge.judge

    def timed(network: Network, figures: Figures, ticks: int) -> list[tuple[Event, Alert]]:
        begin = time.process_time()
        told = judge(network, figures, ticks)
        spent[0] += time.process_time() - begin
        return told

    player.judge.judge = timed  # type: ignore[method-assign]
    begin = time.process_time()
    for item in open_captures([str(path)]):
        player.feed(item)
    player.finish()
    return spent[0] / (time.process_time() - begin)


def again(path: Path, times: int, seconds: float) -> Iterator[PacketBatch]:
    """One file read so many times, each time so many seconds later; its frames must make up whole cycles."""
    packets = 0
    for turn in range(times):
        before = packets
        for item in open_captures([str(path)]):
            assert isinstance(item, PacketBatch)
            packets += item.rows
            yield replace(item, first=item.first + before, time=item.time + round(turn * seconds * 1e9))


def with_dpkt(path: Path) -> int:
    """dpkt: Ethernet and what is in it as objects, nothing of E1.31."""
    import dpkt

    packets = 0
    with path.open("rb") as file:
        for _, frame in dpkt.pcap.Reader(file):
            dpkt.ethernet.Ethernet(frame)
            packets += 1
    return packets


def with_scapy(path: Path, most: int = 3_000) -> int:
    """scapy: general dissection, of the first packets only."""
    from scapy.all import Ether  # all layers, as a user gets them
    from scapy.utils import RawPcapReader

    packets = 0
    with RawPcapReader(str(path)) as reader:
        for frame, _ in reader:
            Ether(frame)
            packets += 1
            if packets >= most:
                break
    return packets


def has_libpcap() -> bool:
    """Is the C library here?"""
    return ctypes.util.find_library("pcap") is not None


def with_libpcap(path: Path) -> None:
    """The C library alone: reads each record and writes it to /dev/null, with no Python for any packet."""
    name = ctypes.util.find_library("pcap")
    pcap, wrong = ctypes.CDLL(name), ctypes.create_string_buffer(256)
    for each, kind in (("pcap_open_offline", ctypes.c_void_p), ("pcap_dump_open", ctypes.c_void_p), ("pcap_loop", ctypes.c_int)):
        getattr(pcap, each).restype = kind
    source = ctypes.c_void_p(pcap.pcap_open_offline(str(path).encode(), wrong))
    sink = ctypes.c_void_p(pcap.pcap_dump_open(source, b"/dev/null"))
    pcap.pcap_loop(source, -1, ctypes.cast(pcap.pcap_dump, ctypes.c_void_p), sink)
    pcap.pcap_dump_close(sink)
    pcap.pcap_close(source)


def bytes_alone(path: Path) -> int:
    """The file through a buffer of 4 MiB, each octet looked at once."""
    block = np.zeros(4 << 20, np.uint8)
    with path.open("rb", buffering=0) as file:
        while size := file.readinto(memoryview(block)):
            np.bitwise_xor.reduce(block[: size & ~7].view(np.uint64))
    return path.stat().st_size
