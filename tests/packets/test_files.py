"""Capture files as people have them: real ones against scapy's and dpkt's readers, packed, piped, cut, foreign, gone."""

from __future__ import annotations

import base64
import gzip
import io
import os
import subprocess
import sys
import threading
import zlib
from contextlib import closing
from pathlib import Path

import dpkt
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.utils import RawPcapNgReader, RawPcapReader

from netwatch.packets.batch import TAIL, FileSeen, Item
from netwatch.packets.files import CaptureError, open_captures, packet_bytes
from netwatch.packets.stream import ByteStream
from tests.packets.made import (
    CAPTURES,
    NO_CAPTURES,
    SECOND,
    START,
    enhanced,
    interface,
    only_rows,
    packets_of,
    pcap,
    section,
)

PACKETS = [(b"lantern %d" % n * (n % 7), START + n * 1_000_000) for n in range(500)]
PLAIN = pcap(PACKETS)
PCAPNG = section() + interface() + b"".join(enhanced(data, time // 1_000) for data, time in PACKETS)

FOREIGN = "is not a capture file; give a pcap or pcapng file, as it is or packed with gzip."
AGAIN = "copy it again from where it was made."


def read(*paths: Path | str) -> tuple[list[Item], list[FileSeen]]:
    source = open_captures(paths)
    return list(source), source.files


def written(folder: Path, content: bytes, name: str = "rig.pcap") -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


@pytest.mark.skipif(not CAPTURES, reason=NO_CAPTURES)
@pytest.mark.parametrize("path", CAPTURES, ids=lambda path: path.name)
def test_real_captures_against_scapy_and_dpkt(path: Path) -> None:
    content = path.read_bytes()
    items, files = read(path)
    rows = only_rows(items)
    if path.suffix == ".pcap":
        with RawPcapReader(str(path)) as reader:
            expected = [(m.sec * SECOND + m.usec * 1_000, data, m.wirelen) for data, m in reader]
            link = reader.linktype
        assert [port.link_type for port in items[0].ports] == [link]
    else:
        with RawPcapNgReader(str(path)) as reader:
            expected = [((m.tshigh << 32 | m.tslow) * SECOND // m.tsresol, data, m.wirelen) for data, m in reader]
    assert [row[1:4] for row in rows] == expected
    assert (files[0].problem, files[0].packets) == (None, len(expected))
    oracle = list(dpkt.pcap.UniversalReader(io.BytesIO(content)))
    assert packets_of(rows) == [data for _, data in oracle]
    assert [row[1] / SECOND for row in rows] == pytest.approx([float(time) for time, _ in oracle], abs=2e-6)


@pytest.mark.parametrize("content", [PLAIN, PCAPNG], ids=["pcap", "pcapng"])
def test_gzip_is_known_by_its_first_bytes(tmp_path: Path, content: bytes) -> None:
    expected = only_rows(read(written(tmp_path, content, "plain"))[0])
    assert [row[1:3] for row in expected] == [(time, data) for data, time in PACKETS]
    packed = gzip.compress(content)
    two_members = gzip.compress(content[:777]) + gzip.compress(content[777:]) + bytes(512)
    for odd_name in (written(tmp_path, packed, "packed.pcap"), written(tmp_path, two_members, "two")):
        items, files = read(odd_name)
        assert only_rows(items) == expected
        assert files[0].problem is None


def test_a_large_gzip_file_comes_in_blocks(tmp_path: Path) -> None:
    content = pcap((bytes(1_400), START + n) for n in range(8_000))
    items, files = read(written(tmp_path, gzip.compress(content, 1)))
    assert sum(item.rows for item in items if not hasattr(item, "facts")) == 8_000
    assert len(items) >= 2
    assert files[0].problem is None


LARGE = pcap((b"%d" % n * 300, START + n) for n in range(20_000))
"""Of more than one full block, so that it is read ahead where it is packed."""


@pytest.mark.parametrize(("cut", "problem"), [
    (0, None), (9, "the gzip file is cut short"), (20_000, "the gzip file is cut short"),
])
def test_a_large_gzip_file_is_read_ahead_to_its_end_or_its_damage(tmp_path: Path, cut: int, problem: str | None) -> None:
    packed = gzip.compress(LARGE, 1)
    path = written(tmp_path, packed[: len(packed) - cut])
    items, files = read(path)
    rows = only_rows(items)
    unpacked = zlib.decompressobj(wbits=31).decompress(packed[: len(packed) - cut])
    whole = only_rows(read(written(tmp_path, unpacked, "plain"))[0])
    assert rows == whole
    assert len(rows) > 15_000
    assert files[0].problem == (problem and f"{path}: {problem}; all before it was read.")


def test_a_large_gzip_file_that_is_closed_is_read_no_further(tmp_path: Path) -> None:
    source = open_captures([written(tmp_path, gzip.compress(LARGE, 1))])
    items = iter(source)
    for _ in range(3):
        next(items)
    threads = [thread for thread in threading.enumerate() if thread.name == "reading ahead"]
    assert threads
    source.close()
    for thread in threads:
        thread.join(60)
        assert not thread.is_alive()
    assert list(items) == []


@pytest.mark.parametrize("content", [PLAIN, PCAPNG], ids=["pcap", "pcapng"])
def test_damaged_gzip_keeps_what_came_before(tmp_path: Path, content: bytes) -> None:
    packed = gzip.compress(content)
    items, files = read(written(tmp_path, packed[: len(packed) // 2], "short"))
    rows = packets_of(only_rows(items))
    assert 0 < len(rows) < len(PACKETS)
    assert rows == [data for data, _ in PACKETS[: len(rows)]]
    assert files[0].problem == f"{tmp_path}/short: the gzip file is cut short; all before it was read."
    packer = zlib.compressobj(wbits=31)
    spoiled = packer.compress(content) + packer.flush(zlib.Z_FULL_FLUSH) + b"\xff"  # the reserved type: RFC 1951 3.2.3
    items, files = read(written(tmp_path, spoiled, "spoiled"))
    assert packets_of(only_rows(items)) == [data for data, _ in PACKETS], "zlib gives nothing of a piece that holds the damage"
    assert files[0].problem == f"{tmp_path}/spoiled: the gzip packing is damaged from here on; all before it was read."
    items, files = read(written(tmp_path, packed + b"rubbish", "rubbish"))
    assert len(only_rows(items)) == len(PACKETS)
    assert files[0].problem is not None


SPOILED = base64.b64decode(
    b"H4sIALelCWsC//O12bSQiYGFAQb+/2dgYATSzpLs2a/twtjWANkgzMgQV8/AyARSwsXB4MrAMA+kzEGwwYULKPL+PwOj6AHRAwxdQHkBBgbHYG"
    b"ddV0M9Q3Mgt6AISLA853y1xmpn6PNZnH3865hnFRTEAEWZ0hNLUjPyS4tTFVJSi7MZSAYpYJKxgJ9pIdiNrGC+yxB2uyvU7RpAtgYJbgf/XOcM"
    b"esgBAAAfiwgAt6UJawL/87XZtJCJgYUBBv7/Z2BgBNLOkuzZr+3C2NYA2SDMyBBXz8DIBFLCxcHgysAwD6TMQbDBhQMo8v4/A6PoAdEDDF1AeQ"
    b"EGBsdgZ11XQz1DcyC3oAhIsDznfLXGamfo81mcffzrmGcVFMQARZnSE0tSM/JLi1MVUlKLsxlIBilgkrGAn2kh2I2sYL7LEHa7K9TtGkC2Bglu"
    b"BwCj5wx6yAEAAA=="
)
"""Two packed captures of light, the second one damaged where a code ends within an octet; found by fuzzing."""


@pytest.mark.parametrize("block", [24, 25, 40, 100])
def test_damaged_gzip_gives_the_same_by_small_blocks(tmp_path: Path, block: int) -> None:
    def unpacked(block: int) -> bytes:
        with closing(ByteStream(str(written(tmp_path, SPOILED, "spoiled")), block)) as stream:
            out = stream.head
            while len(part := stream.block(np.zeros(0, np.uint8))) > TAIL:
                out += part[:-TAIL].tobytes()
            assert stream.problem == "the gzip packing is damaged from here on"
            return out

    assert unpacked(block) == unpacked(1 << 18)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize("packed", [False, True])
def test_a_pipe_that_is_filled_slowly(tmp_path: Path, packed: bool) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    content = gzip.compress(PLAIN) if packed else PLAIN

    def fill() -> None:
        with pipe.open("wb", buffering=0) as out:
            for at in range(0, len(content), 1_000):
                out.write(content[at : at + 1_000])

    writer = threading.Thread(target=fill)
    writer.start()
    source = open_captures([pipe])
    items = list(source)
    writer.join()
    assert packets_of(only_rows(items)) == [data for data, _ in PACKETS]
    assert source.files[0].problem is None
    assert source.bytes_total is None
    assert source.bytes_read == len(content)
    assert packet_bytes([pipe], [1]) == {}


def test_a_live_pipe_is_not_held_back_until_a_block_is_full() -> None:
    read_end, write_end = os.pipe()
    os.write(write_end, PLAIN[:5_000])
    with closing(open_captures([f"/dev/fd/{read_end}"])) as source:
        os.close(read_end)
        first = next(iter(source))
        assert first.ports[0].name == "capture"
        os.close(write_end)


SCRIPT = """
import sys
from netwatch.packets.files import CaptureError, open_captures
try:
    source = open_captures(["-"])
    print(sum(item.rows for item in source), source.files[0].name, source.files[0].problem)
except CaptureError as error:
    print(error)
"""


def from_stdin(content: bytes) -> str:
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, "-c", SCRIPT], input=content, capture_output=True, cwd=root, check=True)
    assert done.stderr == b""
    return done.stdout.decode().strip()


def test_standard_input() -> None:
    assert from_stdin(PCAPNG) == "500 standard input None"
    assert from_stdin(b"") == "standard input is empty; check that the recording ran, or copy the file again."


@pytest.mark.parametrize("content", [PLAIN, PCAPNG], ids=["pcap", "pcapng"])
def test_every_prefix_keeps_all_packets_before_the_cut(tmp_path: Path, content: bytes) -> None:
    """A file that is still being written, or was copied too early."""
    small = content[:1_200]
    ends: dict[int, int] = {}
    for size in range(len(small) + 1):
        path = written(tmp_path, small[:size])
        try:
            items, files = read(path)
        except CaptureError:
            assert size < 24
            continue
        ends[size] = files[0].packets
        assert packets_of(only_rows(items)) == [data for data, _ in PACKETS[: ends[size]]]
        whole = ends[size] > ends.get(size - 1, 0) or (size == 24 and content is PLAIN)
        if whole:
            assert files[0].problem is None
        elif ends[size]:
            assert files[0].problem == f"{path}: the last packet is cut short; all before it was read."
    assert ends[len(small)] >= 15


def test_a_file_that_grows_while_it_is_read(tmp_path: Path) -> None:
    large = pcap((bytes(1_000), START + n) for n in range(9_000))
    path = written(tmp_path, large)
    source = open_captures([path])
    items = iter(source)
    first = next(items)
    with path.open("ab") as more:
        more.write(pcap([(b"later", START + 10**9)])[24:] + b"cut")
    rows = only_rows([first, *items])
    assert len(rows) == 9_001
    assert rows[-1][2] == b"later"
    assert "cut short" in (source.files[0].problem or "")


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "is empty; check that the recording ran, or copy the file again."),
        (b"Notes of the build-up\n" * 20, FOREIGN),
        (b"\xd4", FOREIGN),
        (gzip.compress(b"Notes of the build-up\n", mtime=0), FOREIGN),
        (b"\x1f\x8b and no gzip", f"can't be read: the gzip packing is damaged from here on; {AGAIN}"),
        (gzip.compress(PLAIN, mtime=0)[:12], f"can't be read: the gzip file is cut short; {AGAIN}"),
    ],
)
def test_what_is_no_capture(tmp_path: Path, content: bytes, sentence: str) -> None:
    path = written(tmp_path, content, "notes.txt")
    with pytest.raises(CaptureError) as caught:
        read(path)
    assert str(caught.value) == f"{path} {sentence}"


def test_what_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match=r"gone\.pcap does not exist; check its name and folder"):
        read(tmp_path / "gone.pcap")
    with pytest.raises(CaptureError, match="There is no capture in"):
        read(tmp_path)
    with pytest.raises(CaptureError, match=r"can't be opened \(not a file name\)"):
        read("nul\0byte")
    with pytest.raises(CaptureError, match=r"can't be opened \(File name too long\)"):
        read("x" * 5_000)
    with pytest.raises(CaptureError, match=r"\?\[31mred does not exist"):
        read(tmp_path / "\x1b[31mred")
    with pytest.raises(CaptureError, match="does not exist"):
        read(written(tmp_path, PLAIN), tmp_path / "gone.pcap")


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="this user may read everything")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    path = written(tmp_path, PLAIN)
    path.chmod(0)
    with pytest.raises(CaptureError, match="You may not read"):
        read(path)


def test_an_unreadable_file_as_another_user_sees_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> io.FileIO:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("netwatch.packets.stream.io.FileIO", refused)
    with pytest.raises(CaptureError, match=r"You may not read .*; ask its owner for it, or change its rights"):
        read(written(tmp_path, PLAIN))


def test_a_disk_that_fails_midway(tmp_path: Path) -> None:
    path = written(tmp_path, pcap((bytes(1_000), START + n) for n in range(9_000)))
    source = open_captures([path])
    items = iter(source)
    rows = only_rows([next(items)])
    stream = source._feeds[0].reader.stream  # type: ignore[union-attr]

    def broken(_: memoryview) -> int:
        raise OSError(5, "Input/output error")

    stream._readinto = broken
    rest = list(items)
    assert 0 < len(rows) + sum(len(item.start) for item in rest if not hasattr(item, "facts")) < 9_000
    assert source.files[0].problem == f"{path}: reading stopped with 'Input/output error'; all before it was read."


def test_progress(tmp_path: Path) -> None:
    path = written(tmp_path, gzip.compress(PLAIN))
    source = open_captures([path])
    assert source.bytes_total == path.stat().st_size
    assert [source.bytes_read for _ in source] == [source.bytes_total]


def test_close_ends_the_items(tmp_path: Path) -> None:
    path = written(tmp_path, pcap((bytes(1_000), START + n) for n in range(9_000)))
    source = open_captures([path])
    items = iter(source)
    next(items)
    source.close()
    assert list(items) == []
    unused = open_captures([path])
    unused.close()
    assert list(unused) == []


BEGINS = [b"", PLAIN[:24], PLAIN[:200], PCAPNG[:28], PCAPNG[:200], b"\x1f\x8b\x08"]


@given(content=st.binary(max_size=400), start=st.sampled_from(BEGINS))
@settings(max_examples=200, deadline=None)
def test_any_bytes(content: bytes, start: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    path = written(tmp_path_factory.mktemp("any"), start + content)
    try:
        items, files = read(path)
    except CaptureError:
        return
    assert len(only_rows(items)) == files[0].packets


@given(at=st.integers(0, 1_999), value=st.integers(0, 255), content=st.sampled_from([PLAIN[:2_000], PCAPNG[:2_000]]))
@settings(max_examples=200, deadline=None)
def test_any_byte_changed(at: int, value: int, content: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    changed = bytearray(content)
    changed[at] = value
    path = written(tmp_path_factory.mktemp("any"), bytes(changed))
    try:
        items, _ = read(path)
    except CaptureError:
        assert at < 28
    else:
        only_rows(items)


@pytest.mark.parametrize("packed", [False, True])
def test_bytes_of_packets_by_number(tmp_path: Path, packed: bool) -> None:
    path = written(tmp_path, gzip.compress(PCAPNG) if packed else PCAPNG)
    assert packet_bytes([path], []) == {}
    wanted = [500, 1, 77, 77, 501, 0, -3]
    assert packet_bytes([path], wanted) == {n: PACKETS[n - 1][0] for n in (1, 77, 500)}
    assert packet_bytes([path, tmp_path / "gone"], [1]) == {}
    assert packet_bytes([written(tmp_path, b"foreign")], [1]) == {}
