"""Slices: what stands in them is read back with scapy's own reader; that they replay alike is the project's own law."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from scapy.utils import RawPcapNgReader

from netwatch.network.clock import FoldClock
from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import Item, PacketBatch, Port
from netwatch.packets.files import open_captures
from netwatch.record.cutting import Cutter
from netwatch.record.slicing import comments, spans, write_slices
from netwatch.story.play import Player
from netwatch.story.snapshot import Snapshot
from tests.handmade import alert, at, empty
from tests.stories import frames
from tests.stories.playing import NS, Event, cut_at, items
from tests.stories.script import at as heard
from tests.stories.script import every, mark, stream

CAPTURES = Path(__file__).resolve().parents[2] / "captures"
MINUTE = 60 * NS


def told(source: Sequence[Item]) -> Snapshot:
    player = Player(DEFAULTS)
    for item in source:
        player.feed(item)
    player.finish()
    return player.snapshot()


def written(source: Sequence[Item], shot: Snapshot, folder: Path, cutter: Cutter | None = None) -> list[Path]:
    return write_slices(source, spans(shot, MINUTE), comments(shot), folder, cutter or Cutter(), FoldClock(DEFAULTS))


def test_spans_that_overlap_are_one() -> None:
    shot = empty(alerts=(
        alert(100, "source-lost", "now", {}), alert(150, "no-querier", "soon", {}), alert(400, "source-lost", "now", {}),
        alert(700, "packets-lost", "quality", {}),
    ))  # fmt: skip
    found = spans(shot, MINUTE)
    assert [(each.first, each.last) for each in found] == [(at(40), at(211)), (at(340), at(461))]
    assert found[0].why == ("alert 100 (source-lost)", "alert 150 (no-querier)")


def evening() -> list[Item]:
    source = open_captures([CAPTURES / "02-a-long-evening.pcapng.gz"])
    return list(source)


def test_each_alert_of_the_demo_is_found_again_in_a_slice(tmp_path: Path) -> None:
    """The capture was recorded in the lab; what must be found stands in captures/README.md."""
    whole = evening()
    shot = told(whole)
    loud = {(each.code, each.subject) for each in shot.alerts if each.severity in ("now", "soon") and each.over is None}
    assert {code for code, _ in loud} >= {"two-dhcp-servers", "duplicate-address", "multicast-dropped", "sources-fighting"}
    paths = written(whole, shot, tmp_path)
    found = set()
    for path in paths:
        found |= {(each.code, each.subject) for each in told(list(open_captures([path]))).alerts}
    assert loud <= found


def test_deciding_packets_bear_a_comment(tmp_path: Path) -> None:
    whole = evening()
    shot = told(whole)
    deciding = {n for each in shot.alerts if each.severity in ("now", "soon") for n in each.packets}
    by_n = {
        n: row.packet(n - row.first)
        for row in whole
        if isinstance(row, PacketBatch)
        for n in range(row.first, row.first + row.rows)
    }
    seen = []
    for path in written(whole, shot, tmp_path):
        with RawPcapNgReader(str(path)) as reader:
            for data, meta in reader:
                if meta.comments:
                    seen.append((data, meta.comments[0].decode()))
    assert {data for data, _ in seen} == {by_n[n] for n in deciding}, "whole, though they may say nothing new"
    for n in deciding:
        assert any(data == by_n[n] and f"packet {n:,} of the recording" in said for data, said in seen)


def session(events: Sequence[Event]) -> list[Item]:
    ordered = sorted(events, key=lambda each: each.time)
    return list(items(ordered, (Port("eth0", 1),), cut_at(range(0, len(ordered), 100))))


def test_a_slice_holds_its_span_and_all_but_the_levels_of_before(tmp_path: Path) -> None:
    ask = frames.arp("gatehouse desk", "10.0.0.22")
    whole = session([*stream(1, hz=10, stop=400), *every(30, ask, stop=400), *mark(300, word="pond dark")])
    shot = told(whole)
    (path,) = written(whole, shot, tmp_path)
    rows = [(int(time), item.packet(row)) for item in open_captures([path]) if isinstance(item, PacketBatch)
            for row, time in enumerate(item.time)]  # fmt: skip
    light = [time for time, packet in rows if packet[12:14] == b"\x08\x00"]
    asks = [time for time, packet in rows if packet[12:14] == b"\x08\x06"]
    moment = next(each.at for each in shot.happenings if each.what == "word")
    assert light[0] >= moment - MINUTE
    assert light[-1] <= moment + MINUTE
    assert len(light) in (1200, 1201)
    assert len(asks) == 13


def test_what_is_from_before_all_slices_stands_apart(tmp_path: Path) -> None:
    whole = session(stream(1, hz=10, stop=400))
    n = 5
    shot = empty(
        alerts=(alert(1, "source-lost", "now", {}, since=whole[-1].time[-1] - NS, opened=whole[-1].time[-1], packets=(n,)),)
    )
    paths = written(whole, shot, tmp_path)
    assert [path.name for path in paths] == ["slice-01.pcapng", "older-packets.pcapng"]
    (item,) = open_captures([paths[1]])
    assert isinstance(item, PacketBatch)
    assert item.packet(0) == whole[0].packet(n - 1)


def test_headers_only_holds_no_level(tmp_path: Path) -> None:
    levels = bytes(range(7, 207)) * 2
    whole = session(
        [*stream(1, hz=10, stop=100, levels=levels), *mark(50, word="here"), *heard(50, frames.arp("orchard", "10.0.0.1"))]
    )
    (path,) = written(whole, told(whole), tmp_path, Cutter(headers_only=True))
    assert levels[:16] not in path.read_bytes()
