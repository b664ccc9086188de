"""One universe: who sends it, who wins, and its levels as bars, eight lines of 64 DMX channels."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import numpy.typing as npt
from rich.text import Text

from netwatch.screens.looks import Look
from netwatch.screens.words import SURE_RULE, cell, clock, cut, flow, universe
from netwatch.story.light_views import FrameView, WinnerView
from netwatch.story.snapshot import Snapshot

U8 = npt.NDArray[np.uint8]
SLOTS = 512
LETTERS = "abcdefghijklmnopqrstuvwxyz"
BARS = "\u00b7\u2581\u2582\u2583\u2584\u2585\u2586\u2587\u2588"
PLAIN_BARS = ".123456789"[:9]
"""For the text console, whose type has no such blocks."""
WIDE_LINE, NARROW_LINE, LABEL = 64, 32, 5
SOURCES_SHOWN = 4
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
    def differ(self) -> npt.NDArray[np.bool_]:
        """[512] sources that count don't agree."""
        rows = self.sent[[at for at, each in enumerate(self.frames) if not each.left_out]]
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


def channels_a_line(width: int) -> int:
    """DMX channels in one line of so many cells."""
    return WIDE_LINE if width >= LABEL + WIDE_LINE else NARROW_LINE


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
        out.append(f"{_span(places)} {said}")
    return ", ".join(out + _mixed(mixed, shown, percent))


def _mixed(places: list[int], shown: U8, percent: bool) -> list[str]:
    if len(places) <= ONE_BY_ONE:
        return [f"{each + 1} at {value(int(shown[each]), percent)}" for each in places]
    levels = shown[places]
    return [f"{_span(places)} from {value(int(levels.min()), percent)} to {value(int(levels.max()), percent)}"]


def _span(places: list[int]) -> str:
    return str(places[0] + 1) if len(places) == 1 else f"{places[0] + 1}-{places[-1] + 1}"


@dataclass(frozen=True, slots=True)
class Looking:
    """How one looks at it."""

    cursor: int = 0
    """DMX channel from 0."""
    percent: bool = True
    what: int = 0
    """0 = what wins; 1 = letters of the winners; then each source; last, where they differ."""
    followed: int | None = None
    """DMX channel from 1 whose changes are listed."""


def ways(levels: Levels) -> list[str]:
    """What can be shown of it, in order."""
    if len(levels.frames) == 1:
        return ["what is sent"]
    sources = [f"only {LETTERS[at]}" for at in range(min(len(levels.frames), len(LETTERS)))]
    return ["what wins, the highest where the receiver decides", "who wins, by letter", *sources, "where senders differ"]


def lines(levels: Levels, looking: Looking, before: U8 | None, snapshot: Snapshot, width: int, look: Look) -> list[Text]:
    """The whole page. ``before`` = what was shown last, [512], so that what changed is underlined."""
    names = ways(levels)
    what = looking.what % len(names)
    shown = levels.sent[what - 2] if 2 <= what < len(names) - 1 else levels.shown
    out = [cut(Text(f"{universe(levels.protocol, levels.universe)}: {names[what]}", look.strong), width)]
    out += _senders(levels, width, look)
    out += [Text(), *_grid(levels, shown, what, looking, before, width, look), Text()]
    out += _cursor(levels, looking, width, look)
    if looking.followed is not None:
        return out + _followed(looking, snapshot, width, look)
    return out + list(flow(((runs(shown, looking.percent), look.text),), width))


def _senders(levels: Levels, width: int, look: Look) -> list[Text]:
    many, out = len(levels.frames) > 1, []
    for at, each in enumerate(levels.frames[:SOURCES_SHOWN]):
        letter = f"{LETTERS[at]}  " if many else ""
        priority = "" if each.priority is None else f", priority {each.priority}"
        state = f", {each.left_out}: not used" if each.left_out else ""
        who = each.name or "(no name)"
        out.append(cell(f"{letter}{who} ({each.address}){priority}{state}", width, look.faint if each.left_out else look.text))
    more = len(levels.frames) - SOURCES_SHOWN
    if more > 0:
        out.append(cell(f"and {more} more", width, look.faint))
    if many:
        out.append(cell(f"Who wins: {SURE_RULE.get(levels.rule, levels.rule)}", width, look.text))
    return out


def _grid(levels: Levels, shown: U8, what: int, looking: Looking, before: U8 | None, width: int, look: Look) -> list[Text]:
    each_line = channels_a_line(width)
    bars = PLAIN_BARS if os.environ.get("TERM") == "linux" else BARS
    names, differ = ways(levels), levels.differ
    if what == 1 and len(names) > 1:
        signs = ["-" if w == 255 else LETTERS[min(int(w), 25)] for w in levels.wins]
    elif what == len(names) - 1 and len(names) > 1:
        signs = ["x" if d else "\u00b7" for d in differ]
    else:
        signs = [bars[0 if v == 0 else 1 + int(v) * 7 // 255] for v in shown]
    changed = np.zeros(SLOTS, bool) if before is None else before != shown
    out = []
    for first in range(0, SLOTS, each_line):
        line = Text(f"{first + 1:4} ", look.faint)
        for at in range(first, first + each_line):
            style = f"{look.strong} underline" if changed[at] else look.text
            line.append(signs[at], f"{look.strong} reverse" if at == looking.cursor else style)
        out.append(line)
    return out


def _cursor(levels: Levels, looking: Looking, width: int, look: Look) -> list[Text]:
    at = looking.cursor
    said = [
        f"{LETTERS[row % 26]} {value(int(levels.sent[row, at]), looking.percent)}" if len(levels.frames) > 1
        else value(int(levels.sent[row, at]), looking.percent)
        for row in range(min(len(levels.frames), len(LETTERS)))
    ]  # fmt: skip
    wins = ""
    if len(levels.frames) > 1:
        place = int(levels.wins[at])
        wins = (
            "; nobody wins" if place == 255 else "; the receiver decides" if levels.tied[at] else f"; {LETTERS[place % 26]} wins"
        )
    return [cell(f"Channel {at + 1}: {', '.join(said)}{wins}", width, look.strong)]


def _followed(looking: Looking, snapshot: Snapshot, width: int, look: Look) -> list[Text]:
    """The newest changes of one channel."""
    history = snapshot.levels
    head = cell(f"Channel {looking.followed} since it is followed, newest first:", width, look.faint)
    if history is None or not history.changes:
        return [head, cell("no change so far", width, look.text)]
    out = [head]
    for change in list(history.changes)[:-200:-1]:
        level = change.levels[0]
        name = history.sources[change.source].name or history.sources[change.source].address
        moment = f"{clock(change.at)}.{change.at // 100_000_000 % 10}"
        out.append(cell(f"{moment}  {value(level, looking.percent):>9}  {'=' * (level // 8)} {name}", width, look.text))
    return out
