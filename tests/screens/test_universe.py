"""The levels of one universe."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from screen_helpers import Source, app, seen, snapshot, wait_for
from textual.geometry import Size

from netwatch.screens import bars as b
from netwatch.screens import universe as u
from netwatch.screens.levels import LevelsView
from netwatch.screens.looks import DARK
from netwatch.story.light_views import FrameView, SlotsWon, WinnerView

KEY = ("universe", "eth0", None, "e131", 3)


def frame(source: str, levels: bytes, priority: int = 100, left_out: str = "") -> FrameView:
    return FrameView("eth0", None, source, f"Desk {source}", "10.0.0.21", priority, left_out, levels)


def winner(rule: str, source: str | None, tied: tuple[str, ...] = (), channels: tuple[SlotsWon, ...] = ()) -> WinnerView:
    return WinnerView("eth0", None, "e131", 3, rule, source, tied, (), channels)


def made(frames: tuple[FrameView, ...], *winners: WinnerView) -> u.Levels:
    found = u.levels(KEY, snapshot(frames=frames, winners=winners))
    assert found is not None
    return found


@given(st.binary(min_size=1, max_size=512))
def test_runs_in_words_say_every_level_again(levels: bytes) -> None:
    back: list[int] = []
    for run in u.runs(np.frombuffer(levels, np.uint8), percent=False).split(", "):
        span, _, said = run.partition(" ")
        first, _, last = span.partition("-")
        places = range(int(first) - 1, int(last or first))
        if said.startswith("from "):
            low, high = (int(word) for word in said[5:].split(" to "))
            assert (min(levels[at] for at in places), max(levels[at] for at in places)) == (low, high)
            back += [levels[at] for at in places]
        else:
            level = {"off": 0, "full": 255}.get(said)
            back += [int(said[3:]) if level is None else level] * len(places)
    assert bytes(back) == levels


def test_runs_as_people_say_them() -> None:
    assert u.runs(np.array([255] * 24 + [0] * 72 + [102], np.uint8), percent=True) == "1-24 full, 25-96 off, 97 at 40 %"
    assert u.runs(np.array([0, *range(10, 60)], np.uint8), percent=False) == "1 off, 2-51 from 10 to 59"


def test_one_sender_shows_what_it_sends() -> None:
    levels = made((frame("a", bytes([0, 128, 255])),))
    assert levels.shown[:4].tolist() == [0, 128, 255, 0]
    assert b.ways(levels) == ["what is sent"]
    lines = [line.plain.rstrip() for line in b.lines(levels, b.Looking(cursor=1), None, snapshot(), Size(76, 20), DARK)]
    assert lines[0] == "sACN 3: what is sent"
    assert [line[:4] for line in lines[3:11]] == ["   1", "  65", " 129", " 193", " 257", " 321", " 385", " 449"]
    assert lines[3] == "   1 ·▄█" + "·" * 61
    assert "Channel 2: 50 %" in lines
    assert lines[-1] == "1 off, 2 at 50 %, 3 full, 4-512 off"


def test_the_highest_priority_wins_and_the_other_can_be_seen_alone() -> None:
    """E1.31-2018 6.2.3."""
    levels = made((frame("a", b"\x10" * 512, 90), frame("b", b"\xff" * 512, 100)), winner("priority", "b"))
    assert set(levels.shown.tolist()) == {255}
    letters = b.lines(levels, b.Looking(what=1), None, snapshot(), Size(76, 20), DARK)
    assert any(line.plain == "   1 " + "b" * 64 for line in letters)
    alone = b.lines(levels, b.Looking(what=2), None, snapshot(), Size(76, 20), DARK)
    assert any(line.plain == "   1 " + "\u2581" * 64 for line in alone)


def test_where_the_receiver_decides_the_highest_is_shown_and_said_so() -> None:
    levels = made((frame("a", bytes([9, 0])), frame("b", bytes([0, 7]))), winner("receiver decides", None, ("a", "b")))
    assert levels.shown[:2].tolist() == [9, 7]
    assert levels.differ[:3].tolist() == [True, True, False]
    text = "\n".join(line.plain for line in b.lines(levels, b.Looking(percent=False), None, snapshot(), Size(76, 20), DARK))
    assert "Channel 1: a 9, b 0; the receiver decides" in text


def test_where_two_disagree_what_each_sends_stands_side_by_side() -> None:
    sent = (frame("a", bytes([9, 9, 0, 255, 255])), frame("b", bytes([9, 7, 7, 255, 0])))
    levels = made(sent, winner("receiver decides", None, ("a", "b")))
    assert u.disagreements(levels, percent=False) == [(2, "    2-3  a from 0 to 9, b 7"), (1, "      5  a 255, b 0")]
    text = [line.plain.rstrip() for line in b.lines(levels, b.Looking(), None, snapshot(), Size(76, 20), DARK)]
    assert text[-3:] == ["a and b differ on 3 DMX channels:", "    2-3  a from 0 % to 4 %, b 3 %", "      5  a full, b 0 %"]
    wide = [line.plain.rstrip() for line in b.lines(levels, b.Looking(), None, snapshot(), Size(136, 36), DARK)]
    off, low, full = "\u00b7", "\u2581", "\u2588"
    assert f"   1 {low * 2}{off}{full * 2}{off * 59}   {low * 3}{full}{off * 60}" in wide


def test_what_has_no_room_of_where_they_disagree_is_counted() -> None:
    levels = made((frame("a", bytes([0, 9] * 256)), frame("b", bytes(512))), winner("receiver decides", None, ("a", "b")))
    text = [line.plain.rstrip() for line in b.lines(levels, b.Looking(), None, snapshot(), Size(76, 20), DARK)]
    assert len(text) == 20
    assert (text[-5], text[-1]) == ("a and b differ on 256 DMX channels:", "         and on 253 more")
    same = made((frame("a", bytes(512)), frame("b", bytes(512))), winner("receiver decides", None, ("a", "b")))
    assert "a and b send the same on all 512 DMX channels." in [
        line.plain.rstrip() for line in b.lines(same, b.Looking(), None, snapshot(), Size(76, 20), DARK)
    ]


def test_channels_may_be_won_one_by_one() -> None:
    runs = (SlotsWon(1, 2, "slot priority", "a"), SlotsWon(3, 512, "nobody", None))
    levels = made((frame("a", b"\x05" * 512), frame("b", b"\x06" * 512)), winner("slot priority", None, (), runs))
    assert levels.shown[:4].tolist() == [5, 5, 0, 0]


def test_nobody_sends_it() -> None:
    assert u.levels(KEY, snapshot(frames=())) is None


async def test_keys_on_the_levels() -> None:
    source = Source(snapshot(frames=(frame("a", bytes([255, 0, 102])),)))
    tool = app(source)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("2", *["down"] * 3, "enter")
        await seen(pilot, "Its levels, and who wins")
        await pilot.press("enter")
        await wait_for(pilot, lambda: source.looked == [("e131", 3, None)], "the universe is looked at")
        await seen(pilot, "sACN 3: what is sent")
        await pilot.press("right", "right")
        await seen(pilot, "Channel 3: 40 %")
        await pilot.press("percent_sign")
        await seen(pilot, "Channel 3: 102")
        await pilot.press("down")
        await seen(pilot, "Channel 67: 0")
        await pilot.press("f")
        await wait_for(pilot, lambda: source.looked[-1] == ("e131", 3, 67), "channel 67 is followed")
        await seen(pilot, "Channel 67 since it is followed, newest first:")
        source.change(frames=())
        await seen(pilot, "Nobody sends this universe any more.")
        await pilot.press("escape")
        await seen(pilot, "Its levels, and who wins")
        assert tool.query_one(LevelsView) is not None
