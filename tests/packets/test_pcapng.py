"""pcapng files against scapy's and dpkt's readers, and the draft (draft-ietf-opsawg-pcapng)."""

from __future__ import annotations

import io
import random
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from struct import pack

import dpkt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.utils import RawPcapNgReader

from netwatch.packets import guessed, reader
from netwatch.packets.batch import Item, Mark
from netwatch.packets.files import CaptureError, Captures, open_captures
from netwatch.packets.pcapng import PcapngReader
from netwatch.packets.stream import ByteStream
from tests.packets.made import (
    SECOND,
    block,
    enhanced,
    interface,
    old_packet,
    only_rows,
    option,
    packets_of,
    section,
    simple,
    statistics,
    told,
)

MICROSECONDS = 1_700_000_000_123_456
ORDERS = pytest.mark.parametrize("order", ["<", ">"])


def read(folder: Path, content: bytes) -> tuple[list[Item], Captures]:
    path = folder / "rig.pcapng"
    path.write_bytes(content)
    source = open_captures([path])
    return list(source), source


def rows_of(folder: Path, content: bytes) -> list[tuple[int, int, bytes, int, int, int]]:
    items, source = read(folder, content)
    assert source.files[0].problem is None
    return only_rows(items)


def test_the_drafts_worked_time(tmp_path: Path) -> None:
    """Section 4.3: two values 'in hexadecimal on a little-endian machine', given with their dates."""
    stamps = bytes.fromhex("96c3040073896a65 97c30400aa47ca64")
    blocks = b"".join(block(6, bytes(4) + stamps[at : at + 8] + bytes(8)) for at in (0, 8))
    times = [row[1] for row in rows_of(tmp_path, section() + interface() + blocks)]
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    assert [epoch + timedelta(microseconds=time // 1_000) for time in times] == [
        datetime(2012, 6, 29, 6, 17, 0, 834_163, UTC), datetime(2012, 6, 29, 7, 28, 25, 298_858, UTC),
    ]


@ORDERS
@pytest.mark.parametrize("resolution", [0, 3, 6, 7, 9, 12, 18, 0x80, 0x80 | 10, 0x80 | 20, 0x80 | 32, 0x80 | 34, 0x80 | 63])
@pytest.mark.parametrize("offset", [None, 0, 3_600, -3_600])
def test_resolutions_and_offsets(tmp_path: Path, order: str, resolution: int, offset: int | None) -> None:
    """Section 4.2: 10^-n, with the top bit set 2^-n; the offset in seconds is to be added."""
    unit = 2 ** (resolution & 0x7F) if resolution & 0x80 else 10**resolution
    raws = [min(int(Fraction(ns, SECOND) * unit), 2**64 - 1) for ns in (1_700_000_000_123_456_789, 1_700_000_001_999_999_999, 7)]
    options = option(9, bytes([resolution]), order) + (b"" if offset is None else option(14, pack(f"{order}q", offset), order))
    content = section(order) + interface(order, options=options) + b"".join(enhanced(b"x", raw, order) for raw in raws)
    expected = [raw * SECOND // unit + (offset or 0) * SECOND for raw in raws]
    assert [row[1] for row in rows_of(tmp_path, content)] == expected
    if not offset:
        with RawPcapNgReader(io.BytesIO(content)) as oracle:
            metas = [meta for _, meta in oracle]
        assert expected == [(m.tshigh << 32 | m.tslow) * SECOND // m.tsresol for m in metas]


@pytest.mark.parametrize("resolution", [0, 6, 9, 0x80, 127, 255])
@pytest.mark.parametrize("offset", [-(2**63), -1, 2**63 - 1])
def test_absurd_times_are_passed_on_within_int64(tmp_path: Path, resolution: int, offset: int) -> None:
    options = option(9, bytes([resolution])) + option(14, pack("<q", offset))
    content = section() + interface(options=options) + enhanced(b"x", 2**64 - 1) + enhanced(b"x", 0)
    assert packets_of(rows_of(tmp_path, content)) == [b"x", b"x"]


@ORDERS
def test_all_kinds_of_packets_against_scapy(tmp_path: Path, order: str) -> None:
    dice = random.Random(3)
    blocks = []
    for n in range(3_000):
        data = dice.randbytes(dice.choice([0, 1, 2, 3, 60, 60, 60, 680]))
        raw = MICROSECONDS + n
        kinds = [
            enhanced(data, raw, order, number=dice.randrange(2), wirelen=len(data) + dice.randrange(3)),
            old_packet(data, raw, order, number=dice.randrange(2), drops=dice.randrange(9)),
            simple(data[:96], len(data), order),
            block(0x0BAD, dice.randbytes(11), order), block(4, bytes(4), order),
        ]
        blocks += [kinds[0]] * 40 if n % 50 == 0 else [dice.choice(kinds)]
    head = section(order) + interface(order, 1, 96) + interface(order, 113, 0)
    rows = rows_of(tmp_path, head + b"".join(blocks))
    with RawPcapNgReader(io.BytesIO(head + b"".join(blocks))) as source:
        oracle = list(source)
    assert packets_of(rows) == [data for data, _ in oracle]
    assert [row[3] for row in rows] == [meta.wirelen for _, meta in oracle]
    assert [row[4] for row in rows] == [[1, 113].index(meta.linktype) for _, meta in oracle]
    times = [0 if meta.tshigh is None else (meta.tshigh << 32 | meta.tslow) * 1_000 for _, meta in oracle]
    assert [row[1] for row in rows] == times


@ORDERS
def test_against_dpkt(tmp_path: Path, order: str) -> None:
    options = option(9, b"\x09", order) + option(14, pack(f"{order}q", 7), order) + bytes(4)
    content = section(order) + interface(order, options=options)
    content += b"".join(enhanced(bytes([n]) * n, n * 10**10 + n, order) for n in range(200))
    rows = rows_of(tmp_path, content)
    oracle = list(dpkt.pcapng.Reader(io.BytesIO(content)))
    assert packets_of(rows) == [data for _, data in oracle]
    assert [row[1] / SECOND for row in rows] == pytest.approx([time for time, _ in oracle], abs=1e-6)


def test_sections_of_different_byte_order(tmp_path: Path) -> None:
    """Section 4.1: each section has its own byte order and interfaces; an interface of the same name is the same port."""
    content = b"".join(
        section(order) + interface(order, link, options=option(2, name, order)) + enhanced(name, MICROSECONDS, order)
        for order, link, name in [("<", 1, b"desk"), (">", 1, b"pond"), (">", 1, b"desk"), ("<", 113, b"desk"), ("<", 1, b"pond")]
    )
    items, _ = read(tmp_path, content)
    assert packets_of(only_rows(items)) == [b"desk", b"pond", b"desk", b"desk", b"pond"]
    assert [row[4] for row in only_rows(items)] == [0, 1, 0, 2, 1]
    assert [(port.name, port.link_type) for port in items[-1].ports] == [("desk", 1), ("pond", 1), ("desk 2", 113)]


@ORDERS
def test_what_an_interface_says_of_itself(tmp_path: Path, order: str) -> None:
    """Section 4.2: if_name 2, if_IPv4addr 4 (address and mask), if_MACaddr 6, if_speed 8."""
    options = [
        option(2, b"orchard\x1b[31m", order), option(3, b"a description", order),
        option(4, bytes([10, 0, 0, 5, 255, 255, 0, 0]), order), option(4, bytes([192, 168, 1, 9, 255, 255, 255, 255]), order),
        option(4, bytes([10, 0, 0, 6, 255, 0, 255, 0]), order),
        option(6, bytes.fromhex("020000000001"), order), option(8, pack(f"{order}Q", 10**9), order),
        bytes(4), option(2, b"late", order),
    ]
    items, _ = read(tmp_path, section(order) + interface(order, options=b"".join(options)) + enhanced(b"x", 1, order))
    port = items[0].ports[0]
    assert (port.name, port.link_type, port.speed) == ("orchard?[31m", 1, 10**9)
    assert port.macs == (bytes.fromhex("020000000001"),)
    assert port.networks == ("10.0.0.5/16", "192.168.1.9/32")
    assert (port.kind, port.source, port.made_up) == ("unknown", "file", False)


def test_interfaces_without_a_name(tmp_path: Path) -> None:
    content = section() + interface() + interface() + enhanced(b"x", 1, number=1)
    items, _ = read(tmp_path, content)
    assert [port.name for port in items[0].ports] == ["interface 0", "interface 1"]


@ORDERS
def test_directions(tmp_path: Path, order: str) -> None:
    """Section 4.3.1: epb_flags is option 2, bits 0 and 1 are the direction: 1 in, 2 out."""

    def flags(value: int) -> bytes:
        return option(2, pack(f"{order}I", value), order)

    comment = option(1, b"seen by the mill pond", order)
    cases = [
        (b"", 0), (flags(1), 1), (flags(2), 2), (flags(0), 0), (flags(3), 0), (flags(0xFFFF_FFFE) + bytes(4), 2), (comment, 0),
        (comment + flags(1), 1), (bytes(4) + flags(1), 0), (option(2, b"\1\0", order), 0), (comment * 3 + flags(2) + flags(1), 2),
        (pack(f"{order}HH", 1, 60_000) + flags(1), 0),
    ]
    blocks = b"".join(enhanced(b"abc", 1, order, options=options) for options, _ in cases)
    rows = rows_of(tmp_path, section(order) + interface(order) + blocks)
    assert [row[5] for row in rows] == [direction for _, direction in cases]
    old = rows_of(tmp_path, section(order) + interface(order) + old_packet(bytes(4) + flags(2), 1, order))
    assert old[0][5] == 0  # what looks like an option is part of the packet


@ORDERS
def test_statistics_become_marks(tmp_path: Path, order: str) -> None:
    """Section 4.6: isb_endtime 3, isb_ifrecv 4, isb_ifdrop 5, isb_osdrop 7."""

    def counter(code: int, value: int) -> bytes:
        return option(code, pack(f"{order}Q", value), order)

    late = MICROSECONDS + 9
    content = section(order) + interface(order) + interface(order, 113) + enhanced(b"a", MICROSECONDS, order)
    content += statistics(late, order, 1, counter(4, 70) + counter(7, 2**40) + option(1, b'{"not": "ours"}', order))
    content += enhanced(b"b", MICROSECONDS, order) + statistics(late, order, 0, counter(5, 3) + counter(7, 4))
    content += statistics(1, order, 0, option(3, pack(f"{order}II", late >> 32, late & 0xFFFFFFFF), order))
    content += statistics(late, order, 2) + block(5, bytes(8), order)  # no such interface, too short
    items, source = read(tmp_path, content)
    assert source.files[0].problem is None
    found = told(items)
    assert [item[2] for item in found if not isinstance(item, Mark)] == [b"a", b"b"]
    marks = [(at, m.time, m.port, m.received, m.dropped, m.facts) for at, m in enumerate(found) if isinstance(m, Mark)]
    assert marks == [
        (1, late * 1_000, 1, 70, 2**40, None), (3, late * 1_000, 0, None, 7, None), (4, late * 1_000, 0, None, None, None),
    ]


def good_file(order: str = "<") -> bytes:
    return section(order) + interface(order) + b"".join(enhanced(b"good", n, order) for n in range(20))


@ORDERS
@pytest.mark.parametrize(
    "bad",
    [
        lambda order: pack(f"{order}II", 6, 0) + bytes(40),
        lambda order: pack(f"{order}II", 6, 11) + bytes(40),
        lambda order: pack(f"{order}II", 6, 34) + bytes(40),
        lambda order: pack(f"{order}II", 6, 2**31) + bytes(40),
        lambda order: pack(f"{order}II", 0x0BAD, 8) + bytes(40),
        lambda order: enhanced(b"wrong trailer", 1, order)[:-4] + bytes(4),
        lambda order: enhanced(b"no such interface", 1, order, number=1),
        lambda order: block(6, pack(f"{order}IIIII", 0, 0, 0, 50, 50) + bytes(48), order),
        lambda order: block(6, bytes(8), order),
        lambda order: block(2, bytes(16), order),
        lambda order: block(3, b"", order),
        lambda order: simple(b"shorter than it says", 60, order),
        lambda order: block(1, bytes(4), order),
        lambda order: block(0x0A0D0D0A, bytes(16), order),
        lambda order: enhanced(bytes(262_145), 1, order),
        lambda order: pack(f"{order}II", 5, 2**20 + 4) + bytes(2**21),
    ],
)
def test_a_damaged_block_ends_the_reading(tmp_path: Path, order: str, bad: object) -> None:
    assert callable(bad)
    items, source = read(tmp_path, good_file(order) + bad(order) + enhanced(b"lost", 9, order) * 20)
    assert packets_of(only_rows(items)) == [b"good"] * 20
    assert source.files[0].problem == (
        f"{tmp_path}/rig.pcapng: damaged behind packet 20: a block there is impossible; all before it was read."
    )


def test_a_section_of_another_version(tmp_path: Path) -> None:
    items, source = read(tmp_path, good_file() + section(major=2))
    assert len(only_rows(items)) == 20
    problem = "a section is of pcapng version 2, only 1 is known; all before it was read."
    assert source.files[0].problem == f"{tmp_path}/rig.pcapng: {problem}"


def test_long_unknown_blocks_are_skipped(tmp_path: Path) -> None:
    """Section 3.2: a reader skips what it does not know."""
    long = block(0x0BAD, bytes(9 << 20))
    assert packets_of(rows_of(tmp_path, good_file() + long + enhanced(b"behind", 1))) == [b"good"] * 20 + [b"behind"]
    items, source = read(tmp_path, good_file() + long[:-5])
    assert len(only_rows(items)) == 20
    assert "cut short" in (source.files[0].problem or "")


@pytest.mark.parametrize("head", [section()[:11], section()[:8] + b"oops" + section()[12:], b"\x0a\x0d\x0d\x0a"])
def test_damaged_from_the_first_bytes_on(tmp_path: Path, head: bytes) -> None:
    with pytest.raises(CaptureError, match="damaged from its first bytes on"):
        read(tmp_path, head)


def test_many_interfaces_share_the_last_port(tmp_path: Path) -> None:
    interfaces = b"".join(interface(options=option(2, b"if%d" % n)) for n in range(70))
    content = section() + interfaces + b"".join(enhanced(b"x", n, number=n) for n in range(70))
    items, source = read(tmp_path, content)
    assert [row[4] for row in only_rows(items)] == [*range(63)] + [63] * 7
    assert [port.name for port in items[0].ports[62:]] == ["if62", "others"]
    assert "7 interfaces more than the 63" in (source.files[0].problem or "")


def test_more_interfaces_than_anyone_has(tmp_path: Path) -> None:
    items, source = read(tmp_path, good_file() + interface() * 5_000)
    assert len(only_rows(items)) == 20
    assert "damaged" in (source.files[0].problem or "")


ANY_BLOCK = st.sampled_from([
    enhanced(b"a" * 60, 10**15), enhanced(b"b" * 61, 10**15, options=option(2, b"\2\0\0\0")), simple(b"c" * 5, 5),
    old_packet(b"d" * 9, 10**15), statistics(10**15), block(0x0BAD, bytes(300)), section() + interface() + interface(),
    section(">") + interface(">") + enhanced(b"e" * 7, 10**15, ">") + section() + interface(),
    enhanced(enhanced(b"f" * 20, 10**15) * 3, 10**15), enhanced(pack(">II", 6, 12) * 9, 10**15),
])
"""Packets that hold what looks like blocks are among them."""


@given(
    blocks=st.lists(ANY_BLOCK, max_size=30), repeats=st.integers(1, 40), size=st.integers(20, 2_000), chains=st.integers(1, 9),
    steps=st.integers(1, 20), turns=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_blocks_of_any_size_and_guesses_that_are_wrong_give_the_same(
    blocks: list[bytes], repeats: int, size: int, chains: int, steps: int, turns: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("cut") / "rig.pcapng"
    many = b"".join(blocks) * repeats if turns else b"".join(part * repeats for part in blocks)
    path.write_bytes(section() + interface() + many)
    small, large = ByteStream(str(path), size), ByteStream(str(path))
    whole = told(PcapngReader(large))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reader, "WORTH", 0)
        patch.setattr(guessed, "CHAINS", chains)
        patch.setattr(guessed, "STEPS", steps)
        assert told(PcapngReader(small)) == whole
    small.close()
    large.close()
