"""Makes a long capture of a short one: a part in which nothing changes is told again and again, as if it had gone on.

Times go on, and so does what counts: the numbers of E1.31 and Art-Net streams, and IP identifications; checksums fit. What is
told again is what real programs sent. What it can't show is anything that takes longer than the part.
"""

from __future__ import annotations

import json
import struct
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

NS = 1_000_000_000
STATISTICS, PACKET = 5, 6
"""Interface Statistics Block and Enhanced Packet Block (draft-ietf-opsawg-pcapng)."""
IGMP, QUERY = 2, b"\x11"
EARLIER = 0.005
"""s before a query that a part begins or ends: both ports hear it within that time."""
IPV4, UDP, E131_PORT, ARTNET_PORT = b"\x08\x00", 17, 5568, 6454
E131_DATA, E131_SYNC = (b"\0\0\0\x04", b"\0\0\0\x02"), (b"\0\0\0\x08", b"\0\0\0\x01")
"""Root and framing vectors (E1.31-2018 app. A)."""
ARTDMX = b"Art-Net\0\x00\x50"


@dataclass(frozen=True, slots=True)
class Stretch:
    """From ``begin`` to ``end`` s nothing changes: that part is told so often that it lasts for ``lasts`` s."""

    begin: float
    end: float
    lasts: float

    @property
    def times(self) -> int:
        """How often the part is told."""
        return round(self.lasts / (self.end - self.begin))

    @property
    def more(self) -> float:
        """s by which all that comes behind is later."""
        return (self.times - 1) * (self.end - self.begin)


@dataclass(frozen=True, slots=True)
class Counting:
    """One number in a packet that goes up from packet to packet: whose it is, where it stands, how large it gets."""

    key: tuple[object, ...]
    at: int
    size: int = 1
    least: int = 0


@dataclass(frozen=True, slots=True)
class Frame:
    """One recorded packet; ``time`` in ns, ``rest`` = what stands behind it in its block."""

    time: int
    data: bytes
    rest: bytes


def stretch_recording(folder: Path, name: str, how: Stretch) -> None:
    """Rewrite what a scenario recorded: the captures of both ports, and the truth."""
    path = folder / f"{name}.truth.json"
    truth = json.loads(path.read_text(encoding="utf-8"))
    captures = sorted(folder.glob(f"{name}.*.pcapng"))
    how = from_question_to_question(captures, truth["t0"], how)
    for capture in captures:
        stretch_capture(capture, truth["t0"], how)
    for event in truth["events"]:
        if event["rel"] >= how.end:
            event["t"], event["rel"] = round(event["t"] + how.more, 6), round(event["rel"] + how.more, 3)
    truth["events"].append({
        "t": truth["t0"] + how.begin, "rel": how.begin, "actor": "capture",
        "what": f"the {how.end - how.begin:.2f} s from here on are told {how.times} times",
    })  # fmt: skip
    truth["events"].sort(key=lambda event: event["t"])
    truth["seconds"] = round(truth["seconds"] + how.more, 3)
    path.write_text(json.dumps(truth, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def from_question_to_question(captures: Iterable[Path], t0: float, how: Stretch) -> Stretch:
    """The part shortened so that general IGMP queries, where there are any, go on at their own pace."""
    frames = [_frame(body) for path in captures for kind, body in _blocks(path.read_bytes()) if kind == PACKET]
    asked = [frame.time / NS - t0 - EARLIER for frame in frames if is_general_query(frame.data)]
    inside = [time for time in asked if how.begin <= time <= how.end]
    return Stretch(min(inside), max(inside), how.lasts) if inside and max(inside) - min(inside) > 1 else how


def is_general_query(data: bytes) -> bool:
    """An IGMP query for no group in particular (RFC 2236 2.4, RFC 9776 4.1)."""
    at = 14 + (data[14] & 15) * 4
    return data[12:14] == IPV4 and data[23] == IGMP and data[at : at + 1] == QUERY and data[at + 4 : at + 8] == bytes(4)


def stretch_capture(path: Path, t0: float, how: Stretch) -> None:
    """Rewrite a capture of our recorder; its story began at ``t0`` (s since 1970)."""
    blocks = list(_blocks(path.read_bytes()))
    frames = [_frame(body) for kind, body in blocks if kind == PACKET]
    told = 0
    with path.open("wb") as file:
        for kind, body in blocks:
            if kind not in (PACKET, STATISTICS):
                file.write(_block(kind, body))
        for frame in _stretched(frames, round(t0 * NS), how):
            file.write(_block(PACKET, _body(frame)))
            told += 1
        for kind, body in blocks:
            if kind == STATISTICS:
                file.write(_block(kind, _later(body, how, told - len(frames))))


def _stretched(frames: Sequence[Frame], t0: int, how: Stretch) -> Iterator[Frame]:
    begin, end, part = t0 + round(how.begin * NS), t0 + round(how.end * NS), round((how.end - how.begin) * NS)
    again = [frame for frame in frames if begin <= frame.time < end]
    counts = Counter(each.key for frame in again for each in counters(frame.data))
    yield from (frame for frame in frames if frame.time < begin)
    for turn in range(how.times):
        yield from (_moved(frame, turn, part, counts) for frame in again)
    yield from (_moved(frame, how.times - 1, part, counts) for frame in frames if frame.time >= end)


def _moved(frame: Frame, turns: int, part: int, counts: Counter[tuple[object, ...]]) -> Frame:
    """The same frame so many turns later."""
    data = bytearray(frame.data)
    for each in counters(frame.data):
        place, span = slice(each.at, each.at + each.size), 256**each.size - each.least
        value = int.from_bytes(data[place]) - each.least + turns * counts[each.key]
        data[place] = (value % span + each.least).to_bytes(each.size)
    return Frame(frame.time + turns * part, checked(data), frame.rest)


def counters(data: bytes) -> list[Counting]:
    """All that counts in an Ethernet frame."""
    if data[12:14] != IPV4:
        return []
    found, pair, at = [], data[26:34], 14 + (data[14] & 15) * 4
    if data[18:20] != b"\0\0":  # 0: the sender does not count (RFC 6864 4.1)
        found.append(Counting(("id", pair, data[23]), 18, 2))
    if data[23] != UDP:
        return found
    port, payload = int.from_bytes(data[at + 2 : at + 4]), data[at + 8 :]
    vectors = payload[18:22], payload[40:44]
    if port == E131_PORT and vectors == E131_DATA:
        found.append(Counting(("data", pair, payload[22:38], payload[113:115]), at + 8 + 111))
    elif port == E131_PORT and vectors == E131_SYNC:
        found.append(Counting(("sync", pair, payload[22:38], payload[45:47]), at + 8 + 44))
    elif port == ARTNET_PORT and payload[:10] == ARTDMX and payload[12]:  # 0: it does not count (Art-Net 4 p.60)
        found.append(Counting(("dmx", pair, payload[13:16]), at + 8 + 12, least=1))
    return found


def checked(data: bytearray) -> bytes:
    """The frame with good checksums of IP and UDP, where it has any (RFC 791 3.1, RFC 768)."""
    if data[12:14] == IPV4:
        at = 14 + (data[14] & 15) * 4
        data[24:26] = b"\0\0"
        data[24:26] = _sum(data[14:at]).to_bytes(2)
        end = 14 + int.from_bytes(data[16:18])
        if data[23] == UDP and data[at + 6 : at + 8] != b"\0\0":
            data[at + 6 : at + 8] = b"\0\0"
            pseudo = bytes(data[26:34]) + bytes((0, UDP)) + data[at + 4 : at + 6]
            data[at + 6 : at + 8] = (_sum(pseudo + data[at:end]) or 0xFFFF).to_bytes(2)
    return bytes(data)


def _sum(data: bytes) -> int:
    """RFC 1071; adding 16-bit words with carry is the same as the whole number modulo 65535."""
    value = int.from_bytes(data + bytes(len(data) % 2))
    return ~(value % 0xFFFF or (0xFFFF if value else 0)) & 0xFFFF


# ---- the file, as our recorder writes it ----


def _blocks(data: bytes) -> Iterator[tuple[int, bytes]]:
    at = 0
    while at < len(data):
        kind, size = struct.unpack_from("<II", data, at)
        yield kind, data[at + 8 : at + size - 4]
        at += size


def _block(kind: int, body: bytes) -> bytes:
    size = struct.pack("<I", len(body) + 12)
    return struct.pack("<I", kind) + size + body + size


def _frame(body: bytes) -> Frame:
    _, high, low, size, _ = struct.unpack_from("<IIIII", body)
    return Frame(high << 32 | low, body[20 : 20 + size], body[20 + size + -size % 4 :])


def _body(frame: Frame) -> bytes:
    size = len(frame.data)
    head = struct.pack("<IIIII", 0, frame.time >> 32, frame.time & 0xFFFFFFFF, size, size)
    return head + frame.data + bytes(-size % 4) + frame.rest


def _later(body: bytes, how: Stretch, more: int) -> bytes:
    """The counters at the end: time, then packets received (option 4) and dropped (option 5)."""
    interface, high, low, option, received = struct.unpack_from("<IIIIQ", body)
    time = (high << 32 | low) + round(how.more * NS)
    return struct.pack("<IIIIQ", interface, time >> 32, time & 0xFFFFFFFF, option, received + more) + body[24:]
