"""A recording in segments of which one is missing: a gap that is told, never light that fell silent (E1.31-2018 6.7.1: 2.5 s)."""

from __future__ import annotations

from pathlib import Path

from netwatch.numbers import DEFAULTS
from netwatch.packets.files import open_captures
from netwatch.story.play import Player
from netwatch.story.snapshot import Snapshot
from tests.packets.made import pcap
from tests.stories import frames
from tests.stories.boxes import DESK
from tests.stories.playing import NS, START


def written(folder: Path, *spans: tuple[int, int]) -> Path:
    """A universe ten times a second, a file for each span of seconds."""
    for n, (begin, end) in enumerate(spans):
        told = ((frames.e131(DESK, 1, i), START + i * NS // 10) for i in range(begin * 10, end * 10))
        (folder / f"night-{n}.pcap").write_bytes(pcap(told))
    return folder


def played(folder: Path) -> Snapshot:
    player = Player(DEFAULTS, "mirror", "show")
    for item in open_captures([folder]):
        player.feed(item)
    player.finish()
    return player.snapshot()


def test_a_missing_segment_is_a_gap_and_no_silence(tmp_path: Path) -> None:
    told = played(written(tmp_path, (0, 60), (70, 130)))
    assert [each.text for each in told.happenings if each.what == "hole"] == ["Nothing was recorded for 10 s"]
    assert {each.code for each in told.alerts} & {"source-lost", "universe-silent", "packets-lost"} == set()


def test_the_same_pause_inside_one_file_is_a_silence(tmp_path: Path) -> None:
    whole = written(tmp_path, (0, 60))
    more = ((frames.e131(DESK, 1, i), START + i * NS // 10) for i in [*range(600), *range(700, 1300)])
    (whole / "night-0.pcap").write_bytes(pcap(more))
    told = played(whole)
    assert "source-lost" in {each.code for each in told.alerts}
    assert not [each for each in told.happenings if each.what == "hole"]


def test_segments_without_a_gap_are_as_one_file(tmp_path: Path) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "three").mkdir()
    one, three = played(written(tmp_path / "one", (0, 60))), played(written(tmp_path / "three", (0, 20), (20, 40), (40, 60)))
    assert [one.streams, one.alerts, one.happenings] == [three.streams, three.alerts, three.happenings]
