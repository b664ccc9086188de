"""A folder of segments as one story. Which files belong to it is our own rule: common practice, no source."""

from __future__ import annotations

from pathlib import Path

import pytest

from netwatch.packets.batch import NEXT_FILE, Mark, PacketBatch
from netwatch.packets.files import CaptureError, open_captures, packet_bytes
from netwatch.packets.folder import captures_in
from tests.packets.made import SECOND, START, pcap
from tests.packets.test_merge import content


def names(folder: Path) -> list[str]:
    return [Path(each).name for each in captures_in(str(folder))]


def put(folder: Path, *which: str) -> None:
    for name in which:
        (folder / name).write_bytes(pcap([(name.encode(), START)]))


def test_numbers_in_names_count_as_numbers_and_other_files_do_not_matter(tmp_path: Path) -> None:
    put(tmp_path, "night10.pcap", "night9.pcap", "notes.txt", "night1.PCAPNG", ".hidden")
    (tmp_path / "inner.pcap").mkdir()
    assert names(tmp_path) == ["night1.PCAPNG", "night9.pcap", "night10.pcap"]


def test_of_a_guards_folder_the_rolling_capture_alone(tmp_path: Path) -> None:
    """What stands beside it are copies of the same packets."""
    put(tmp_path, "capture-0002.pcapng", "capture-0001.pcapng", "slice-0001.pcapng", "talk-0001.pcapng", "journal.sqlite")
    assert names(tmp_path) == ["capture-0001.pcapng", "capture-0002.pcapng"]


@pytest.mark.parametrize(
    ("inside", "why"), [((), "no capture in"), (("slice-0001.pcapng", "talk-0001.pcapng"), "pieces of a session")]
)
def test_a_folder_without_a_capture_is_told(tmp_path: Path, inside: tuple[str, ...], why: str) -> None:
    put(tmp_path, *inside)
    with pytest.raises(CaptureError, match=why):
        open_captures([tmp_path])


def segments(folder: Path, *times: list[int]) -> None:
    for n, seconds in enumerate(times):
        (folder / f"night-{n}.pcapng").write_bytes(content([(START + s * SECOND, f"{n}.{s}") for s in seconds]))


def test_it_reads_as_its_files_do_one_by_one(tmp_path: Path) -> None:
    segments(tmp_path, [0, 1], [2, 3], [4])
    by_name = packet_bytes(sorted(tmp_path.iterdir()), range(1, 9))
    assert packet_bytes([tmp_path], range(1, 9)) == by_name
    assert list(by_name.values()) == [b"0.0", b"0.1", b"1.2", b"1.3", b"2.4"]


def test_a_segment_that_can_not_be_read_is_left_out_and_told(tmp_path: Path) -> None:
    """As a laptop leaves it that ran out of battery."""
    segments(tmp_path, [0], [1], [2])
    (tmp_path / "night-1.pcapng").write_bytes(b"")
    source = open_captures([tmp_path])
    assert sum(item.rows for item in source if isinstance(item, PacketBatch)) == 2
    assert [bool(file.problem) for file in sorted(source.files, key=lambda file: file.name)] == [False, True, False]
    assert source.bytes_total
    for path in tmp_path.iterdir():
        path.write_bytes(b"")
    with pytest.raises(CaptureError, match="is empty"):
        open_captures([tmp_path])


def test_a_named_file_that_can_not_be_read_is_still_an_error(tmp_path: Path) -> None:
    segments(tmp_path, [0])
    (tmp_path / "letter").write_text("Dear all")
    with pytest.raises(CaptureError, match="not a capture file"):
        open_captures([tmp_path, tmp_path / "letter"])


def test_where_a_file_begins_long_after_all_others_ended_a_mark_says_so(tmp_path: Path) -> None:
    segments(tmp_path, [0, 1], [2, 3], [10, 11])
    found = [item for item in open_captures([tmp_path]) if isinstance(item, Mark)]
    assert [(each.time, each.facts) for each in found] == [(START + 10 * SECOND, {NEXT_FILE: str(tmp_path / "night-2.pcapng")})]
