"""Which lines a watch tells: an alert that another one explains is not told by itself."""

from __future__ import annotations

from netwatch.commands.told import Told
from netwatch.story.snapshot import Happening


def told(*batches: str) -> list[str]:
    """Each batch as 'opened1 folded1 phase'."""
    made = Told()
    out = []
    for batch in batches:
        news = [Happening(0, word.rstrip("12"), "", int(word[-1]) if word[-1].isdigit() else None) for word in batch.split()]
        out += [f"{line.what}{'' if line.alert is None else line.alert}" for line in made.lines(news)]
    return out


def test_alerts_that_stand_by_themselves_are_told() -> None:
    assert told("phase opened1 changed1 opened2", "closed2 word", "closed1") == ["phase", "opened1", "opened2", "closed2", "word", "closed1"]


def test_what_is_explained_at_once_is_not_told_nor_its_end() -> None:
    assert told("opened1 opened2 folded2", "closed2 closed1") == ["opened1", "closed1"]


def test_what_stands_by_itself_later_is_told_then() -> None:
    assert told("opened1 folded1", "unfolded1", "closed1") == ["opened1", "closed1"]


def test_what_was_told_is_not_told_again() -> None:
    assert told("opened1", "folded1", "unfolded1", "closed1") == ["opened1", "closed1"]
