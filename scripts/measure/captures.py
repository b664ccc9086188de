"""Captures to measure on (pcap, ns): full light, a mixed network, many universes, many hosts. Nothing in them is real."""

from __future__ import annotations

import random
import struct
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np

START = 1_795_600_000
RAMP = np.arange(512)
CYCLE = 256
"""Frames after which sequence numbers come round (E1.31-2018 6.7.2)."""
_SEQUENCE = 14 + 20 + 8 + 111
"""Where it stands in a frame (E1.31-2018 table 4-1)."""
Event = tuple[int, bytes]
"""(ns since the start, frame)."""


def save(path: Path, events: Iterable[Event]) -> int:
    """Write a capture; gives its packets."""
    packets = 0
    with path.open("wb") as out:
        out.write(struct.pack("<IHHiIII", 0xA1B23C4D, 2, 4, 0, 0, 65_535, 1))
        for at, frame in events:
            seconds, ns = divmod(at, 1_000_000_000)
            out.write(struct.pack("<IIII", START + seconds, ns, len(frame), len(frame)) + frame)
            packets += 1
    return packets


# ---- frames ----


def ethernet(source: int, destination: bytes, kind: int, body: bytes) -> bytes:
    """``source`` = number of a box."""
    return destination + struct.pack(">HI", 0x0200, source) + struct.pack(">H", kind) + body


def ipv4(source: int, destination: bytes, protocol: int, body: bytes) -> bytes:
    """Without a checksum, as a card that adds it later shows it; from 0.0.0.0 where ``source`` is 0."""
    head = struct.pack(">BBHHHBBH", 0x45, 0, 20 + len(body), 0, 0, 64, protocol, 0)
    return head + (address(source) if source else bytes(4)) + destination + body


def udp(source: int, to_mac: bytes, to: bytes, ports: tuple[int, int], body: bytes) -> bytes:
    """One datagram in its frame."""
    return ethernet(source, to_mac, 0x0800, ipv4(source, to, 17, struct.pack(">HHHH", *ports, 8 + len(body), 0) + body))


def e131(universe: int, sequence: int, slots: bytes, source: int = 5) -> bytes:
    """E1.31 data (E1.31-2018 table 4-1)."""
    n = len(slots)
    data = b"\x00\x10\x00\x00ASC-E1.17\0\0\0" + struct.pack(">HI", 0x7000 | (110 + n), 4) + struct.pack(">QQ", 0x6F1C2D3E, source)
    data += struct.pack(">HI", 0x7000 | (88 + n), 2) + b"gatehouse desk".ljust(64, b"\0")
    data += struct.pack(">BHBBH", 100, 0, sequence & 255, 0, universe)
    data += struct.pack(">HBBHHH", 0x7000 | (11 + n), 2, 0xA1, 0, 1, n + 1) + b"\0" + slots
    group = struct.pack(">BBH", 239, 255, universe)
    return udp(source, b"\x01\x00\x5e\x7f" + group[2:], group, (5568, 5568), data)


def artdmx(universe: int, sequence: int, slots: bytes, source: int, to: int) -> bytes:
    """ArtDmx to one node (Art-Net 4 p.60)."""
    data = b"Art-Net\0" + struct.pack("<H", 0x5000) + struct.pack(">HBB", 14, sequence % 255 + 1, 0)
    data += struct.pack("<H", universe) + struct.pack(">H", len(slots)) + slots
    return udp(source, box(to), address(to), (6454, 6454), data)


def box(number: int) -> bytes:
    """MAC of a box."""
    return struct.pack(">HI", 0x0200, number)


def address(number: int) -> bytes:
    """Address of a box."""
    return struct.pack(">I", 0x0A000000 + number)


def arp(source: int, wanted: int) -> bytes:
    """Who has ``wanted``? (RFC 826)."""
    body = struct.pack(">HHBBH", 1, 0x0800, 6, 4, 1) + box(source) + address(source) + bytes(6) + address(wanted)
    return ethernet(source, b"\xff" * 6, 0x0806, body).ljust(60, b"\0")


def tcp(source: int, to: int, size: int) -> bytes:
    """A segment of an office conversation."""
    body = struct.pack(">HHIIBBHHH", 50_000, 443, 1, 1, 0x50, 0x10, 8192, 0, 0) + bytes(size)
    return ethernet(source, box(to), 0x0800, ipv4(source, address(to), 6, body))


def mdns(source: int) -> bytes:
    """A question for a service (RFC 6762)."""
    question = struct.pack(">HHHHHH", 0, 0, 1, 0, 0, 0) + b"\x04_ipp\x04_tcp\x05local\0" + struct.pack(">HH", 12, 1)
    return udp(source, b"\x01\x00\x5e\x00\x00\xfb", b"\xe0\x00\x00\xfb", (5353, 5353), question)


def ipv6(source: int, to: int, size: int) -> bytes:
    """A UDP datagram of IPv6 (RFC 8200)."""
    body = struct.pack(">HHHH", 50_001, 443, 8 + size, 0) + bytes(size)
    here, there = (b"\xfe\x80" + bytes(10) + struct.pack(">I", each) for each in (source, to))
    return ethernet(source, box(to), 0x86DD, struct.pack(">IHBB", 6 << 28, len(body), 17, 64) + here + there + body)


def rare(number: int, source: int) -> bytes:
    """DHCP DISCOVER and REQUEST, IGMPv2 report, ArtPoll, in turn."""
    if number % 4 == 3:
        return udp(source, b"\xff" * 6, b"\xff" * 4, (6454, 6454), b"Art-Net\0\x00\x20\x00\x0e\x00\x00")
    if number % 4 == 2:
        group = struct.pack(">BBH", 239, 255, 1 + number % 64)
        body = struct.pack(">BBH", 0x16, 0, 0) + group
        total = sum(struct.unpack(">4H", body))
        body = body[:2] + struct.pack(">H", ~(total + (total >> 16)) & 0xFFFF) + group
        return ethernet(source, b"\x01\x00\x5e\x7f" + group[2:], 0x0800, ipv4(source, group, 2, body)).ljust(60, b"\0")
    kind = 1 if number % 4 == 0 else 3
    body = struct.pack(">BBBBIHH", 1, 1, 6, 0, 7_000 + number // 4, 0, 0x8000) + bytes(16) + box(source) + bytes(202)
    body += b"\x63\x82\x53\x63" + bytes([53, 1, kind]) + (b"\x36\x04" + address(1) if kind == 3 else b"") + b"\xff"
    return ethernet(source, b"\xff" * 6, 0x0800, ipv4(0, b"\xff" * 4, 17, struct.pack(">HHHH", 68, 67, 8 + len(body), 0) + body))


# ---- captures ----


def save_light(path: Path, universes: int, frames: int, hz: int = 44, *, sources: int = 1, boxes: int = 1) -> int:
    """Full universes that fade, each from ``sources`` controllers that disagree, else from one of ``boxes``; gives packets.

    Numbers of ``frames`` that are multiples of ``CYCLE`` can be read again and again without a jump in the sequence.
    """
    step = min(4_000, 1_000_000_000 // hz // (universes * sources + 1))
    who = [(universe, 5 + source + universe % boxes) for source in range(sources) for universe in range(1, universes + 1)]
    one = np.array([np.frombuffer(bytes(16) + e131(universe, 0, bytes(512), source), np.uint8) for universe, source in who])
    one[:, 8:16] = np.frombuffer(struct.pack("<II", one.shape[1] - 16, one.shape[1] - 16), np.uint8)
    speed = np.array([universe % 3 for universe, _ in who])[:, None]
    shift = np.array([100 * (source - 5) * (sources > 1) for _, source in who])[:, None]
    with path.open("wb") as out:
        out.write(struct.pack("<IHHiIII", 0xA1B23C4D, 2, 4, 0, 0, 65_535, 1))
        for frame in range(frames):
            at = frame * 1_000_000_000 // hz + np.arange(1, len(who) + 1) * step
            stamp = np.stack([START + at // 1_000_000_000, at % 1_000_000_000], axis=1).astype("<u4")
            one[:, :8] = stamp.view(np.uint8)
            one[:, 16 + _SEQUENCE] = frame % CYCLE
            one[:, -512:] = (RAMP + frame * speed + shift) % 256
            out.write(one.tobytes())
    return frames * len(who)


def few(universes: int, frames: int, hz: int = 44) -> Iterator[Event]:
    """Full universes that fade, from one controller."""
    for frame in range(frames):
        for universe in range(1, universes + 1):
            slots = ((RAMP + frame * (universe % 3)) % 256).astype(np.uint8).tobytes()
            yield frame * 1_000_000_000 // hz + universe * 4_000, e131(universe, frame, slots)


def mixed(seconds: int, reordered: float = 0.01) -> Iterator[Event]:
    """64 sACN and 8 Art-Net universes of four lengths, ARP, office traffic; 2 % records, a share swapped with the next."""
    chance = random.Random(20_261_121)
    events: list[Event] = []
    for frame in range(seconds * 44):
        at = frame * 1_000_000_000 // 44
        for universe in range(1, 65):
            length = (512, 510, 300, 120)[universe % 4]
            slots = ((RAMP[:length] + frame * (universe % 3)) % 256).astype(np.uint8).tobytes()
            events.append((at + universe * 5_000, e131(universe, frame, slots, 5 + universe % 4)))
        for universe in range(8):
            events.append((at + universe * 6_000 + 1_000, artdmx(universe, frame, bytes([frame % 256] * 512), 9, 60 + universe)))
    for ms in range(seconds * 1_000):
        at = ms * 1_000_000 + 137_000
        one, other = chance.randrange(100, 160), chance.randrange(10, 14)
        if ms % 2:
            one, other = other, one
        events.append((at, tcp(one, other, chance.choice((0, 20, 536, 1_400)))))
        events += [(at + 9_000, arp(one, other))] * (ms % 5 == 0) + [(at + 11_000, mdns(one))] * (ms % 20 == 0)
        events += [(at + 13_000, ipv6(one, other, 100))] * (ms % 10 == 0)
        events += [(at + 15_000, rare(ms // 11, max(one, other)))] * (ms % 11 == 0)
    events.sort(key=lambda event: event[0])
    times, frames = [at for at, _ in events], [frame for _, frame in events]
    for at in chance.sample(range(len(frames) - 1), int(len(frames) * reordered)):
        frames[at], frames[at + 1] = frames[at + 1], frames[at]
    return zip(times, frames, strict=True)


def hosts(boxes: int, seconds: int, partners: int | None = None) -> Iterator[Event]:
    """Eight universes, and so many boxes that ask by ARP: each for the same few ``partners``; None = for all others in turn.

    2,000 questions a second, whatever the number of boxes.
    """
    def wanted(n: int) -> int:
        return (n + 1 + n // boxes % partners) % boxes if partners else (n * 7 + n // boxes) % boxes

    talk = ((n * 500_000 + 77_000, arp(100 + n % boxes, 100 + wanted(n))) for n in range(2_000 * seconds))
    return iter(sorted([*few(8, seconds * 44), *talk], key=lambda event: event[0]))
