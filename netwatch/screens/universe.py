"""One universe: what each source sends, who wins, where they disagree, and levels in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import numpy.typing as npt

from netwatch.story.light_views import FrameView, WinnerView
from netwatch.story.snapshot import Snapshot

U8 = npt.NDArray[np.uint8]
SLOTS = 512
LETTERS = "abcdefghijklmnopqrstuvwxyz"
ONE_BY_ONE = 3
"""So many single channels side by side are told one by one; more of them as one."""


@dataclass(frozen=True, slots=True)
class Levels:
    """What is drawn of one universe on one network."""

    protocol: str
    universe: int
    frames: tuple[FrameView, ...]
    sent: U8
    """[sources, 512]."""
    wins: U8
    """[512] place of the source whose level receivers show, as far as standards go; 255 = nobody."""
    tied: npt.NDArray[np.bool_]
    """[512] the receiver decides; ``wins`` holds the highest."""
    rule: str

    @property
    def shown(self) -> U8:
        """[512] the winners' levels."""
        return np.where(self.wins == 255, 0, self.sent[np.minimum(self.wins, len(self.frames) - 1), np.arange(SLOTS)]).astype(
            np.uint8
        )

    @property
    def counting(self) -> list[int]:
        """Places of the sources that receivers may use."""
        return [at for at, each in enumerate(self.frames[: len(LETTERS)]) if not each.left_out]

    @property
    def differ(self) -> npt.NDArray[np.bool_]:
        """[512] sources that count don't agree."""
        rows = self.sent[self.counting]
        return (rows != rows[:1]).any(axis=0) if len(rows) > 1 else np.zeros(SLOTS, bool)


def levels(key: tuple[object, ...], snapshot: Snapshot) -> Levels | None:
    """Of the universe that a row's key names; None where nobody sent it."""
    _, interface, vlan, protocol, number = key[:5]
    frames = tuple(each for each in snapshot.frames if (each.interface, each.vlan) == (interface, vlan))
    if not frames:
        return None
    sent = np.zeros((len(frames), SLOTS), np.uint8)
    for row, each in enumerate(frames):
        sent[row, : len(each.levels)] = np.frombuffer(each.levels[:SLOTS], np.uint8)
    same = (w for w in snapshot.winners if (w.interface, w.vlan, w.protocol, w.universe) == (interface, vlan, protocol, number))
    winner = next(same, None)
    wins, tied = _wins(frames, sent, winner)
    rule = "alone" if winner is None else winner.rule
    return Levels(str(protocol), int(str(number)), frames, sent, wins, tied, rule)


def _wins(frames: Sequence[FrameView], sent: U8, winner: WinnerView | None) -> tuple[U8, npt.NDArray[np.bool_]]:
    place = {each.source: at for at, each in enumerate(frames)}
    wins, tied = np.full(SLOTS, 255, np.uint8), np.zeros(SLOTS, bool)
    if winner is None:
        live = [at for at, each in enumerate(frames) if not each.left_out]
        wins[:] = live[0] if live else 255
        return wins, tied
    runs = [(each.first - 1, each.last, each.source, each.tied) for each in winner.channels]
    for first, last, source, among in runs or [(0, SLOTS, winner.source, winner.tied)]:
        if source in place:
            wins[first:last] = place[source]
        elif among:
            rivals = [place[each] for each in among if each in place]
            if rivals:
                wins[first:last] = np.array(rivals, np.uint8)[sent[rivals, first:last].argmax(axis=0)]
                tied[first:last] = True
    return wins, tied


def value(level: int, percent: bool) -> str:
    """'40 %' or '102'."""
    if not percent:
        return str(level)
    return "under 1 %" if level == 1 else "full" if level == 255 else f"{round(level / 2.55)} %"


def runs(shown: U8, percent: bool) -> str:
    """'1-24 full, 25-96 off, 97 at 40 %, 98-120 from 5 % to 80 %': neighbours that all differ are told as one."""
    out, mixed = [], list[int]()
    for level, each in groupby(range(len(shown)), key=lambda at: int(shown[at])):
        places = list(each)
        if len(places) == 1 and 0 < level < 255:
            mixed.append(places[0])
            continue
        out += _mixed(mixed, shown, percent)
        mixed = []
        said = "off" if level == 0 else "full" if level == 255 else f"at {value(level, percent)}"
        out.append(f"{span_of(places)} {said}")
    return ", ".join(out + _mixed(mixed, shown, percent))


def _mixed(places: list[int], shown: U8, percent: bool) -> list[str]:
    if len(places) <= ONE_BY_ONE:
        return [f"{each + 1} at {value(int(shown[each]), percent)}" for each in places]
    levels = shown[places]
    return [f"{span_of(places)} from {value(int(levels.min()), percent)} to {value(int(levels.max()), percent)}"]


def span_of(places: Sequence[int]) -> str:
    """'7' or '7-12' of neighbours from 0."""
    return str(places[0] + 1) if len(places) == 1 else f"{places[0] + 1}-{places[-1] + 1}"


def disagreements(levels: Levels, percent: bool) -> list[tuple[int, str]]:
    """Neighbouring DMX channels on which sources that count don't agree: how many, and what each of them sends there."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], levels.differ.view(np.int8), [0])))).tolist()
    out = []
    for first, behind in zip(edges[::2], edges[1::2], strict=True):
        said = ", ".join(f"{LETTERS[at]} {_between(levels.sent[at, first:behind], percent)}" for at in levels.counting)
        out.append((behind - first, f"{span_of((first, behind - 1) if behind - first > 1 else (first,)):>7}  {said}"))
    return out


def _between(sent: U8, percent: bool) -> str:
    low, high = value(int(sent.min()), percent), value(int(sent.max()), percent)
    return low if low == high else f"from {low} to {high}"
