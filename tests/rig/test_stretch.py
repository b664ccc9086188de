"""Long captures of short ones, read with dpkt and scapy, independent readers; checksums (RFC 791, RFC 768) by scapy."""

from __future__ import annotations

import struct
from pathlib import Path

import dpkt
import pytest
from rig.stretch import Stretch, from_question_to_question, stretch_capture
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import ARP, Ether

from tests.stories import frames
from tests.stories.boxes import DESK, POND

T0 = 1_795_627_331
HZ, SECONDS = 10, 6
PART = Stretch(2, 4, 60)
"""20 frames, told 30 times."""


def block(kind: int, body: bytes) -> bytes:
    body += bytes(-len(body) % 4)
    size = struct.pack("<I", len(body) + 12)
    return struct.pack("<I", kind) + size + body + size


def moment(seconds: float) -> bytes:
    time = round((T0 + seconds) * 1e9)
    return struct.pack("<III", 0, time >> 32, time & 0xFFFFFFFF)


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    """A pcapng file as the recorder writes it: sACN at 10 Hz, Art-Net that counts and that does not, one ARP a second."""
    path = tmp_path / "short.mirror.pcapng"
    out = block(0x0A0D0D0A, struct.pack("<IHHq", 0x1A2B3C4D, 1, 0, -1))
    out += block(1, struct.pack("<HHI", 1, 0, 0) + struct.pack("<HHI", 9, 1, 9) + bytes(4))
    for i in range(SECONDS * HZ):
        light = Ether(frames.artdmx(DESK, 0, (250 + i) % 255 + 1, bytes(8)))
        still = Ether(frames.artdmx(POND, 1, 0, bytes(8)))
        acn = Ether(frames.e131(DESK, 1, (240 + i) % 256, bytes(512)))
        light[IP].id, still[IP].id = i + 1, 0
        for each in (acn, light, still):
            del each[IP].chksum, each[UDP].chksum
        heard = [bytes(acn), bytes(light), bytes(still)]
        heard += [frames.announce(POND)] if i % HZ == 0 else []
        for frame in heard:
            out += block(6, moment(i / HZ) + struct.pack("<II", len(frame), len(frame)) + frame)
    out += block(5, moment(SECONDS) + struct.pack("<HHQ", 4, 8, 190) + struct.pack("<HHQ", 5, 8, 0) + bytes(4))
    path.write_bytes(out)
    return path


def read(path: Path) -> list[tuple[float, Ether]]:
    with path.open("rb") as file:
        return [(float(time), Ether(frame)) for time, frame in dpkt.pcapng.Reader(file)]


def test_times_and_numbers_go_on(capture: Path) -> None:
    stretch_capture(capture, T0, PART)
    told = read(capture)
    more = PART.more
    assert more == 58
    times = [time - T0 for time, frame in told if UDP in frame and frame[UDP].dport == 5568]
    assert times == pytest.approx([i / HZ for i in range(int((SECONDS + more) * HZ))], abs=1e-5)
    numbers = [bytes(frame[UDP].payload)[111] for _, frame in told if UDP in frame and frame[UDP].dport == 5568]
    assert numbers == [(240 + i) % 256 for i in range(len(times))]
    counted = [bytes(f[UDP].payload)[12] for _, f in told if UDP in f and f[IP].src == DESK.address and f[UDP].dport == 6454]
    assert counted == [(250 + i) % 255 + 1 for i in range(len(times))]
    ids = [f[IP].id for _, f in told if UDP in f and f[IP].src == DESK.address and f[UDP].dport == 6454]
    assert ids == list(range(1, len(times) + 1))
    assert sum(ARP in frame for _, frame in told) == SECONDS + more


def test_who_does_not_count_still_does_not(capture: Path) -> None:
    stretch_capture(capture, T0, PART)
    still = [f for _, f in read(capture) if UDP in f and f[IP].src == POND.address]
    assert len(still) == int((SECONDS + PART.more) * HZ)
    assert {(f[IP].id, bytes(f[UDP].payload)[12]) for f in still} == {(0, 0)}


def test_checksums_fit(capture: Path) -> None:
    stretch_capture(capture, T0, PART)
    for _, frame in read(capture):
        if UDP in frame:
            assert frame[UDP].chksum
            found = frame[IP].chksum, frame[UDP].chksum
            del frame[IP].chksum, frame[UDP].chksum
            again = Ether(bytes(frame))
            assert found == (again[IP].chksum, again[UDP].chksum)


def test_a_part_goes_from_question_to_question(capture: Path) -> None:
    """General queries at 2.31, 3.31 and 4.31 s: told from 2 to 5 s they would come at uneven times."""
    out = capture.read_bytes()
    for seconds in (0.31, 1.31, 2.31, 3.31, 4.31, 5.31):
        asked = frames.query(DESK)
        out += block(6, moment(seconds) + struct.pack("<II", len(asked), len(asked)) + asked)
    capture.write_bytes(out)
    how = from_question_to_question([capture], T0, Stretch(2, 5, 60))
    assert (how.begin, how.end) == pytest.approx((2.305, 4.305), abs=1e-6)
    stretch_capture(capture, T0, how)
    times = sorted(time - T0 for time, frame in read(capture) if IP in frame and frame[IP].proto == 2)
    assert times == pytest.approx([0.31 + each for each in range(len(times))], abs=1e-5)


def test_without_questions_a_part_stays_as_it_is(capture: Path) -> None:
    assert from_question_to_question([capture], T0, PART) == PART
