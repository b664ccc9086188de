"""Time in replay: the state shown is the state then, however one got there."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from netwatch.commands.tape import CHECKPOINTS, Tape
from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import Mark
from netwatch.packets.files import open_captures
from netwatch.story.document import document
from netwatch.story.play import Player

EVENING = str(Path(__file__).parent.parent / "captures" / "02-a-long-evening.pcapng.gz")
NS = 1_000_000_000


def loaded() -> Tape:
    tape = Tape([EVENING], Player(DEFAULTS))
    tape.load(lambda done, total: None)
    tape.finish()
    return tape


@pytest.fixture(scope="module")
def tape() -> Tape:
    return loaded()


def plainly(at: int) -> dict[str, object]:
    """All packets up to a moment folded from the start, packet by packet, then time passed up to it."""
    player = Player(DEFAULTS)
    for item in open_captures([EVENING]):
        if isinstance(item, Mark):
            if item.time <= at:
                player.feed(item)
            continue
        rows = int((item.time <= at).sum())
        if rows:
            player.feed(item.part(0, rows))
        ports = item.ports
    player.feed(Mark(at, 0, None, None, None, ports))
    return document(player.snapshot(), ())


def test_any_moment_is_as_if_the_capture_had_been_read_up_to_it(tape: Tape) -> None:
    wanted = [tape.first + (tape.last - tape.first) * part // 10 for part in (7, 2, 9, 3, 8, 4)]
    random.Random(1).shuffle(wanted)
    for at in wanted:
        tape.seek(at)
        assert document(tape.snapshot(), ()) == plainly(at)


def test_it_shows_the_end_first_and_comes_back_to_it(tape: Tape) -> None:
    fresh = loaded()
    end = document(fresh.snapshot(), ())
    player = Player(DEFAULTS)
    for item in open_captures([EVENING]):
        player.feed(item)
    player.finish()
    assert end == document(player.snapshot(), ())
    tape.seek(tape.first)
    tape.seek(tape.last + 5 * NS)
    assert tape.at == tape.last
    assert document(tape.snapshot(), ()) == end


def test_moments_are_where_alerts_began(tape: Tape) -> None:
    tape.seek(tape.last)
    opened = {each.opened for each in tape.snapshot().alerts if each.over is None}
    assert set(tape.moments) <= opened
    assert len(tape.moments) >= 4
    at = tape.moments[1]
    tape.seek(at - 1)
    before = {each.id for each in tape.snapshot().alerts}
    tape.seek(at)
    assert {each.id for each in tape.snapshot().alerts} > before


def test_playing_goes_on_by_itself_and_stops_at_the_end(tape: Tape, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = [100.0]
    monkeypatch.setattr("netwatch.commands.tape.time.monotonic", lambda: clock[0])
    tape.seek(tape.first)
    tape.play(True)
    clock[0] += 2
    assert tape.snapshot().now == tape.first + 2 * NS
    tape.hasten(True)
    tape.hasten(True)
    clock[0] += 3
    assert tape.snapshot().now == tape.first + 14 * NS
    clock[0] += 100_000
    assert tape.snapshot().now == tape.last
    assert not tape.playing
    for _ in range(9):
        tape.hasten(False)
    assert tape.speed == 1


def test_a_universe_that_is_looked_at_shows_its_frames_at_any_moment(tape: Tape) -> None:
    tape.seek(tape.first + 60 * NS)
    tape.look("e131", 3)
    assert [len(each.levels) for each in tape.snapshot().frames] == [512]
    tape.seek(tape.last)
    assert len(tape.snapshot().frames) == 1


def test_evidence_comes_from_the_file(tape: Tape) -> None:
    first = tape.packet(1)
    assert first is not None
    assert first[0].text.startswith("It goes to the box ")
    assert tape.packet(10**9) is None


def test_checkpoints_are_few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("netwatch.commands.tape.FIRST_APART", NS // 100)
    tape = loaded()
    assert 8 <= len(tape._checkpoints) <= CHECKPOINTS
