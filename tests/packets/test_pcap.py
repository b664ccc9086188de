"""pcap files against scapy's and dpkt's readers, and the draft's tables (draft-ietf-opsawg-pcap)."""

from __future__ import annotations

import io
import random
from contextlib import closing
from pathlib import Path

import dpkt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.utils import RawPcapReader

from netwatch.packets import guessed, reader
from netwatch.packets.batch import Item, PacketBatch
from netwatch.packets.files import CaptureError, Captures, open_captures
from netwatch.packets.pcap import PcapReader
from netwatch.packets.stream import ByteStream
from tests.packets.made import SECOND, only_rows, packets_of, pcap, pcap_head, pcap_record

PACKETS = [(b"lantern walk " * 5, 1, 2), (b"", 2, 3), (b"pond", 2, 999_999), (b"\xff" * 700, 4_294_967_295, 0)]


def written(folder: Path, content: bytes) -> Path:
    path = folder / "rig.pcap"
    path.write_bytes(content)
    return path


def read(folder: Path, content: bytes) -> tuple[list[Item], Captures]:
    source = open_captures([written(folder, content)])
    return list(source), source


@pytest.mark.parametrize(
    ("disk", "order", "magic", "unit"),
    [  # first bytes on disk: draft section 4, the two of the variant: dpkt's table
        ("d4c3b2a1", "<", 0xA1B2C3D4, 1_000), ("a1b2c3d4", ">", 0xA1B2C3D4, 1_000),
        ("4d3cb2a1", "<", 0xA1B23C4D, 1), ("a1b23c4d", ">", 0xA1B23C4D, 1),
        ("34cdb2a1", "<", 0xA1B2CD34, 1_000), ("a1b2cd34", ">", 0xA1B2CD34, 1_000),
    ],
)
def test_byte_orders_and_resolutions(tmp_path: Path, disk: str, order: str, magic: int, unit: int) -> None:
    extra = bytes(8) if magic == 0xA1B2CD34 else b""
    records = [pcap_record(data, seconds, fraction, order, extra=extra) for data, seconds, fraction in PACKETS]
    content = pcap_head(order, magic) + b"".join(records)
    assert content[:4].hex() == disk
    items, source = read(tmp_path, content)
    rows = only_rows(items)
    assert [row[1:4] for row in rows] == [(s * SECOND + f * unit, data, len(data)) for data, s, f in PACKETS]
    assert source.files[0].problem is None
    oracle = list(dpkt.pcap.Reader(io.BytesIO(content)))
    assert packets_of(rows) == [data for _, data in oracle]
    assert [row[1] / SECOND for row in rows] == pytest.approx([float(time) for time, _ in oracle], abs=1e-6)


@pytest.mark.parametrize("pattern", ["same", "two in turn", "runs", "any", "empty ones"])
def test_every_pattern_of_lengths(tmp_path: Path, pattern: str) -> None:
    dice = random.Random(7)
    length = {
        "same": lambda i: 68, "two in turn": lambda i: 60 + i % 2, "runs": lambda i: 60 + i // 90 % 3,
        "any": lambda i: dice.randrange(200), "empty ones": lambda i: 0,
    }[pattern]
    content = pcap((dice.randbytes(length(i)), 10**18 + i) for i in range(20_000))
    items, source = read(tmp_path, content)
    rows = only_rows(items)
    with RawPcapReader(io.BytesIO(content)) as oracle:
        expected = [(meta.sec * SECOND + meta.usec, data, meta.wirelen) for data, meta in oracle]
    assert [row[1:4] for row in rows] == expected
    assert (source.files[0].first, source.files[0].packets) == (1, 20_000)
    assert len(items) >= 2  # at most 16,384 rows each


@given(
    lengths=st.lists(st.sampled_from([0, 1, 60, 61]) | st.integers(0, 300), max_size=30),
    repeats=st.integers(1, 40), size=st.integers(20, 5_000), chains=st.integers(1, 9), steps=st.integers(1, 20),
    false=st.integers(1, 9),
)
@settings(max_examples=60, deadline=None)
def test_blocks_of_any_size_and_guesses_that_are_wrong_give_the_same(
    lengths: list[int], repeats: int, size: int, chains: int, steps: int, false: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Each so many packets hold what looks like a chain of records."""
    likeness = pcap_record(b"", 10**9, 0) * 19
    packets = [
        (likeness[:length] if n % false == 0 else bytes([n % 251]) * length, 10**18 + n)
        for n, length in enumerate(lengths * repeats)
    ]
    stream = ByteStream(str(written(tmp_path_factory.mktemp("cut"), pcap(packets))), size)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reader, "WORTH", 0)
        patch.setattr(guessed, "CHAINS", chains)
        patch.setattr(guessed, "STEPS", steps)
        rows = only_rows(PcapReader(stream))
    stream.close()
    assert [(data, time) for _, time, data, *_ in rows] == packets


def test_a_block_that_is_a_little_more_than_a_batch_makes_no_second_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader, "MAX_ROWS", 100)
    monkeypatch.setattr(reader, "FULL", 95)
    path = written(tmp_path, pcap((bytes(60 + n % 2), n) for n in range(2_000)))
    with closing(ByteStream(str(path), 8_000)) as stream:  # 104 of 76.5 octets
        rows = [item.rows for item in PcapReader(stream) if isinstance(item, PacketBatch)]
    assert all(80 <= each <= 100 for each in rows[2:-1]), "the first block can't know"
    assert sum(rows) == 2_000


def test_link_type_is_in_the_low_bits(tmp_path: Path) -> None:
    """Section 4: bits 28 to 31 and bit 26 are about the frame check sequence."""
    items, _ = read(tmp_path, pcap_head(link=0x4400_0071) + pcap_record(b"x", 1, 1))
    assert [(port.name, port.link_type) for port in items[0].ports] == [("capture", 113)]


def test_wire_length_is_never_less_than_what_was_captured(tmp_path: Path) -> None:
    content = pcap_head() + pcap_record(b"12345", 1, 1, wirelen=3) + pcap_record(b"12345", 1, 1, wirelen=2**32 - 1)
    items, source = read(tmp_path, content)
    assert [row[3] for row in only_rows(items)] == [5, 2**31 - 1]
    assert source.raised == 1


@pytest.mark.parametrize("length", [262_145, 2**31, 2**32 - 1])
@pytest.mark.parametrize("behind", [0, 400_000])
def test_an_impossible_length_ends_the_reading(tmp_path: Path, length: int, behind: int) -> None:
    good = b"".join(pcap_record(b"good", n, 0) for n in range(30))
    bad = pcap_record(b"", 31, 0)[:8] + length.to_bytes(4, "little") * 2 + bytes(behind)
    items, source = read(tmp_path, pcap_head() + good + bad)
    assert packets_of(only_rows(items)) == [b"good"] * 30
    assert source.files[0].problem == (
        f"{tmp_path}/rig.pcap: damaged behind packet 30: a length there is impossible; all before it was read."
    )


def test_largest_packet(tmp_path: Path) -> None:
    items, source = read(tmp_path, pcap_head() + pcap_record(b"x" * 262_144, 1, 0))
    assert len(only_rows(items)[0][2]) == 262_144
    assert source.files[0].problem is None


def test_other_versions_are_refused(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="pcap version 3, only 2 is known"):
        read(tmp_path, pcap_head(major=3))


@pytest.mark.parametrize("size", range(4, 24))
def test_a_header_cut_short(tmp_path: Path, size: int) -> None:
    with pytest.raises(CaptureError, match="ends within its header"):
        read(tmp_path, pcap_head()[:size])


def test_a_header_and_no_packets_is_fine(tmp_path: Path) -> None:
    items, source = read(tmp_path, pcap_head())
    assert items == []
    assert source.files[0].problem is None
    assert (source.files[0].first, source.files[0].packets) == (0, 0)
