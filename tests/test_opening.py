"""A capture on its way to the screens: the frame first, then what is read so far, then any moment. The scenario is our own."""

from __future__ import annotations

import gzip
import threading
from pathlib import Path

import pytest

from netwatch.commands import opening
from netwatch.commands.opening import Opening
from netwatch.commands.tape import Tape
from netwatch.exits import Exit, Stop
from netwatch.numbers import DEFAULTS
from netwatch.packets.files import open_captures
from netwatch.story.document import document
from netwatch.story.play import Player

EVENING = Path(__file__).parent.parent / "captures" / "02-a-long-evening.pcapng.gz"


def opened(path: Path = EVENING, ended: threading.Event | None = None) -> Opening:
    return Opening(lambda: Tape([str(path)], Player(DEFAULTS)), (ended or threading.Event()).set)


def test_before_it_begins_nothing_is_known_and_asking_for_it_does_no_harm() -> None:
    source = opened()
    assert (source.tape, source.reading, source.snapshot().packets) == (None, "0 %", 0)
    assert source.packet(1) is None
    source.look("e131", 1)
    assert "still being read" in source.why("e131", 1, None).verdict
    assert source.close() is None


def test_what_is_read_so_far_is_shown_and_then_all_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "SHOWN_EACH_S", 0.0)
    seen = []
    load = Tape.load

    def noted(self: Tape, progress: object) -> None:
        load(self, lambda done, total: (progress(done, total), seen.append(source.snapshot())))  # type: ignore[operator]

    monkeypatch.setattr(Tape, "load", noted)
    source = opened()
    source.begin()
    source._thread.join()
    packets = [each.packets for each in seen]
    assert packets == sorted(packets)
    assert 0 < packets[0] < packets[-1]
    assert len({each.revision for each in seen}) == len(seen)
    end = source.close()
    assert end is not None
    player = Player(DEFAULTS)
    for item in open_captures([EVENING]):
        player.feed(item)
    player.finish()
    assert document(end.snapshot, ()) == document(player.snapshot(), ())
    assert source.tape is not None
    assert source.reading == ""
    source.tape.seek(source.tape.first)
    assert end.trusted == player.trusted


def test_who_leaves_before_the_end_waits_for_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    begun = threading.Event()
    monkeypatch.setattr(Opening, "_progress", lambda self, *told: (begun.set(), self._over.wait(60), opening.Opening._left(self)))
    source = opened()
    source.begin()
    assert begun.wait(60)
    assert source.close() is None


def test_a_capture_that_ends_within_its_packets_is_shown_as_far_as_it_can_be_read(tmp_path: Path) -> None:
    whole = gzip.decompress(EVENING.read_bytes())
    cut = tmp_path / "cut.pcapng"
    cut.write_bytes(whole[: len(whole) // 2])
    source = opened(cut)
    source.begin()
    source._thread.join()
    end = source.close()
    assert end is not None
    assert end.snapshot.packets
    assert "all before it was read" in (end.files[0].problem or "")


def test_a_file_that_is_gone_by_then_ends_the_screen_with_one_sentence(tmp_path: Path) -> None:
    ended = threading.Event()
    source = opened(tmp_path / "gone.pcap", ended)
    source.begin()
    source._thread.join()
    assert ended.is_set()
    assert source.close() is None
    assert isinstance(source.stop, Stop)
    assert source.stop.code == Exit.UNREADABLE


def test_a_fault_of_the_program_is_not_hidden() -> None:
    def fault() -> Tape:
        raise ZeroDivisionError

    ended = threading.Event()
    source = Opening(fault, ended.set)
    source.begin()
    source._thread.join()
    assert ended.is_set()
    with pytest.raises(ZeroDivisionError):
        source.close()
