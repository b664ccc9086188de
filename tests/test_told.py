"""Which lines a watch tells: an alert that another one explains is not told by itself."""

from __future__ import annotations

from netwatch.commands.told import Told
from netwatch.story.bell import SETTLES
from netwatch.story.snapshot import Happening

STEP = SETTLES // 2


def told(*batches: str) -> list[str]:
    """Each batch as 'opened1 folded1 phase'."""
    made = Told()
    out = []
    for at, batch in enumerate(batches):
        found = [(word.rstrip("12"), int(word[-1]) if word[-1].isdigit() else None) for word in batch.split()]
        news = [Happening(at * STEP, what, "", alert) for what, alert in found]
        out += [f"{line.what}{'' if line.alert is None else line.alert}" for line in made.lines(news, at * STEP)]
    out += [f"{line.what}{line.alert}" for line in made.lines([], len(batches) * STEP, last=True)]
    return out


def test_alerts_that_stand_by_themselves_are_told_after_a_moment() -> None:
    assert told("phase opened1 changed1", "word", "opened2", "", "closed2", "closed1") == [
        "phase", "word", "opened1", "opened2", "closed2", "closed1",
    ]  # fmt: skip


def test_what_is_explained_soon_is_not_told_nor_its_end() -> None:
    assert told("opened1 opened2 folded2", "", "", "closed2 closed1") == ["opened1", "closed1"]
    assert told("opened2", "opened1 folded2", "", "", "closed2 closed1") == ["opened1", "closed1"]


def test_what_is_over_at_once_is_not_told() -> None:
    assert told("opened1 closed1", "", "") == []
    assert told("opened1", "closed1", "", "") == []


def test_what_stands_by_itself_later_is_told_then() -> None:
    assert told("opened1 folded1", "", "unfolded1", "", "", "closed1") == ["opened1", "closed1"]


def test_what_was_told_is_not_told_again() -> None:
    assert told("opened1", "", "", "folded1", "unfolded1", "", "closed1") == ["opened1", "closed1"]


def test_at_the_end_nothing_is_held_back() -> None:
    assert told("opened1") == ["opened1"]
