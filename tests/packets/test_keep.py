"""What is kept reads back the same, here and in scapy's and dpkt's readers."""

from __future__ import annotations

import io
import os
import stat
from contextlib import closing
from pathlib import Path
from typing import Any

import dpkt
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.utils import RawPcapNgReader

from netwatch.packets.batch import BatchBuilder, Item, Mark, PacketBatch, Port
from netwatch.packets.files import CaptureError, open_captures
from netwatch.packets.keep import Keeper
from tests.packets.made import CAPTURES, NO_CAPTURES, START, only_rows, told

RING = Port("enp1s0", 1, (bytes.fromhex("020000000001"),), ("10.0.0.5/16", "192.168.1.9/24"), "wired", 10**9, "ring")
WIFI = Port("wlan0", 113, (bytes(6), bytes.fromhex("0200000000ff")), ("2001:db8::1/64", "10.1.2.3/8"), "wifi", None, "library")
PLAIN = Port("all", 101, kind="virtual", source="sockets", made_up=True)


def kept(path: Path, items: list[Item]) -> list[Item]:
    with closing(Keeper(path)) as keeper:
        for item in items:
            keeper.write(item)
    source = open_captures([path])
    back = list(source)
    assert source.files[0].problem is None
    return back


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**60), 2**60) | st.floats(allow_nan=False) | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3), max_leaves=6,
)
COUNTS = st.none() | st.integers(0, 2**64 - 1)
TIMES = st.integers(-(2**63), 2**63 - 1) | st.integers(START, START + 10**10)
PACKET = st.tuples(st.binary(max_size=70), TIMES, st.integers(0, 2), st.integers(0, 2), st.integers(0, 200))
MARK = st.tuples(TIMES, st.integers(0, 2), COUNTS, COUNTS, st.none() | st.dictionaries(st.text(max_size=9), JSON, max_size=3))


@given(session=st.lists(st.lists(PACKET, min_size=1, max_size=9) | MARK, max_size=12))
@settings(max_examples=150, deadline=None)
def test_reads_back_the_same(session: list[Any], tmp_path_factory: pytest.TempPathFactory) -> None:
    builder = BatchBuilder((RING, WIFI, PLAIN))
    items: list[Item] = []
    for part in session:
        if isinstance(part, list):
            for data, time, port, direction, extra in part:
                builder.add(data, time, port, direction, len(data) + extra)
            items.append(builder.take())
        else:
            items.append(Mark(*part, builder.ports))
    back = kept(tmp_path_factory.mktemp("keep") / "rig.pcapng", items)
    assert told(back) == told(items)
    assert all(item.ports == builder.ports for item in back)


def test_a_port_is_written_when_it_appears(tmp_path: Path) -> None:
    first = BatchBuilder((RING,))
    first.add(b"one", START)
    one = first.take()
    items: list[Item] = [one, Mark(START, 1, None, None, {}, (RING, WIFI)), Mark(START, 0, 1, 2, None, (RING, WIFI, PLAIN))]
    back = kept(tmp_path / "rig.pcapng", items)
    assert [item.ports for item in back] == [(RING,), (RING, WIFI), (RING, WIFI, PLAIN)]
    assert back[1:] == items[1:]


def test_long_facts(tmp_path: Path) -> None:
    facts = {"notes": ["lantern walk é " * 2_000] * 5}
    assert kept(tmp_path / "rig.pcapng", [Mark(START, 0, 1, 2, facts, (RING,))]) == [Mark(START, 0, 1, 2, facts, (RING,))]


@pytest.mark.skipif(not CAPTURES, reason=NO_CAPTURES)
@pytest.mark.parametrize("path", CAPTURES, ids=lambda path: path.name)
def test_a_capture_kept_again(tmp_path: Path, path: Path) -> None:
    items = list(open_captures([path]))
    back = kept(tmp_path / "again.pcapng", items)
    assert told(back) == told(items)
    assert back[-1].ports == items[-1].ports


def test_other_readers_agree(tmp_path: Path) -> None:
    builder = BatchBuilder((RING, PLAIN))
    for n in range(300):
        builder.add(bytes([n % 256]) * (n % 90), START + n * 1_001, n % 2, n % 3, n % 90 + n % 4)
    batch = builder.take()
    path = tmp_path / "rig.pcapng"
    kept(path, [batch, Mark(START, 0, 1, 2, {"link": True}, batch.ports)])
    with RawPcapNgReader(str(path)) as reader:
        oracle = list(reader)
    assert [data for data, _ in oracle] == [batch.packet(n) for n in range(300)]
    assert [(m.tshigh << 32 | m.tslow, m.tsresol) for _, m in oracle] == [(START + n * 1_001, 10**9) for n in range(300)]
    assert [(m.wirelen, m.linktype, m.ifname, m.direction or 0) for _, m in oracle] == [
        (n % 90 + n % 4, [1, 101][n % 2], [b"enp1s0", b"all"][n % 2], n % 3) for n in range(300)
    ]
    assert [data for _, data in dpkt.pcapng.Reader(io.BytesIO(path.read_bytes()))] == [data for data, _ in oracle]


def test_a_comment_that_is_not_ours_is_left_alone(tmp_path: Path) -> None:
    """A file from a stranger may hold anything under our key."""
    path = tmp_path / "rig.pcapng"
    kept(path, [Mark(START, 0, 1, 2, {"a": 1}, (RING,))])
    good = path.read_bytes()
    for old, new in [
        (b'"kind": "wired"', b'"kind": "laser"'), (b'"macs": ["02', b'"macs": ["zz'), (b'"speed": 1', b'"speed": -'),
        (b'"made_up": false', b'"made_up": [[[]]'), (b'"10.0.0.5/16"', b'"10.0.0.5/99"'), (b'"source"', b'"sauce!"'),
        (b'"10.0.0.5/16"', b"true         "),  # found by fuzzing: True was taken for the address 0.0.0.1
    ]:
        assert old in good
        path.write_bytes(good.replace(old, new))
        port = next(iter(open_captures([path]))).ports[0]
        assert (port.name, port.macs, port.networks, port.speed) == (RING.name, RING.macs, RING.networks, RING.speed)
        assert (port.kind, port.source, port.made_up) == ("unknown", "file", False)
    for new in (b'{"netwatch-facts": [[1]]', b'{"netwatch-facts": 12345', b"{" * 24):
        path.write_bytes(good.replace(b'{"netwatch-facts": {"a": 1}'[: len(new)], new))
        mark = next(iter(open_captures([path])))
        assert isinstance(mark, Mark)
        assert (mark.received, mark.facts) == (1, None)


def test_deeply_nested_facts_from_a_stranger(tmp_path: Path) -> None:
    path = tmp_path / "rig.pcapng"
    kept(path, [Mark(START, 0, 1, 2, {"a": "x" * 60_000}, (RING,))])
    path.write_bytes(path.read_bytes().replace(b'"' + b"x" * 60_000, b"[" * 60_001))
    mark = next(iter(open_captures([path])))
    assert isinstance(mark, Mark)
    assert mark.facts is None


def test_only_the_owner_may_read_it(tmp_path: Path) -> None:
    if os.name == "nt":
        pytest.skip("file modes are a matter of POSIX")
    before = os.umask(0)
    try:
        kept(tmp_path / "rig.pcapng", [])
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "rig.pcapng").stat().st_mode) == 0o600


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "last-night.pcapng"
    path.write_bytes(b"precious")
    with pytest.raises(CaptureError, match="exists already; choose another name, or move that file away"):
        Keeper(path)
    assert path.read_bytes() == b"precious"


def test_a_folder_that_is_not_there_or_closed(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match=r"can't be written \(No such file or directory\); choose another folder or name"):
        Keeper(tmp_path / "gone" / "rig.pcapng")
    with pytest.raises(CaptureError, match=r"can't be written \(not a file name\)"):
        Keeper("nul\0byte")


def test_a_full_disk_leaves_whole_blocks(tmp_path: Path) -> None:
    resource = pytest.importorskip("resource", reason="this system can't limit the size of files")
    builder = BatchBuilder((RING,))
    path = tmp_path / "rig.pcapng"
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with closing(Keeper(path)) as keeper:
        for n in range(100):
            builder.add(bytes(1_000), START + n)
        keeper.write(builder.take())
        for n in range(100):
            builder.add(bytes(1_000), START + n)
        more = builder.take()
        resource.setrlimit(resource.RLIMIT_FSIZE, (150_000, hard))
        try:
            with pytest.raises(CaptureError, match=r"stopped \(File too large\); what was kept until then is good\. Make room"):
                keeper.write(more)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        source = open_captures([path])
        assert len(only_rows(source)) == 100
        assert source.files[0].problem is None
        keeper.write(more)
    source = open_captures([path])
    assert len(only_rows(source)) == 200
    assert source.files[0].problem is None


def test_a_disk_that_is_full_at_once_leaves_no_file(tmp_path: Path) -> None:
    """So that the next try finds nothing in its way."""
    resource = pytest.importorskip("resource", reason="this system can't limit the size of files")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (10, hard))
    try:
        with pytest.raises(CaptureError, match=r"stopped \(File too large\)"):
            Keeper(tmp_path / "rig.pcapng")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert list(tmp_path.iterdir()) == []
    Keeper(tmp_path / "rig.pcapng").close()


def test_an_empty_batch_is_nothing(tmp_path: Path) -> None:
    assert kept(tmp_path / "rig.pcapng", [BatchBuilder((RING,)).take()]) == []


def test_bytes_between_packets_are_not_kept(tmp_path: Path) -> None:
    """A batch may hold more bytes than its packets, as one from a file does."""
    data = np.frombuffer(b"head ONE between TWO behind" + bytes(256), np.uint8)
    zeros = np.zeros(2, np.uint8)
    caplen, wirelen = np.array([3, 3], np.int32), np.array([3, 9], np.int32)
    batch = PacketBatch(data, np.array([5, 17]), caplen, wirelen, np.array([START, START]), zeros, zeros, 1, (RING,))
    assert [row[2] for row in only_rows(kept(tmp_path / "rig.pcapng", [batch]))] == [b"ONE", b"TWO"]
