"""Levels of one universe as bars, eight lines of 64 DMX channels; where two sources disagree both stand side by side."""

from __future__ import annotations

import os
from dataclasses import dataclass

import numpy as np
from rich.text import Text
from textual.geometry import Size

from netwatch.screens.looks import Look
from netwatch.screens.universe import LETTERS, SLOTS, U8, Levels, disagreements, runs, value
from netwatch.screens.words import SURE_RULE, cell, clock, count, cut, flow, universe
from netwatch.story.snapshot import Snapshot

BARS = "\u00b7\u2581\u2582\u2583\u2584\u2585\u2586\u2587\u2588"
PLAIN_BARS = ".123456789"[:9]
"""For the text console, whose type has no such blocks."""
WIDE_LINE, NARROW_LINE, LABEL, GAP = 64, 32, 5, 3
BESIDE = LABEL + WIDE_LINE + GAP + WIDE_LINE
"""Cells in which two sources have room beside each other."""
SOURCES_SHOWN = 4


def channels_a_line(width: int) -> int:
    """DMX channels in one line of so many cells."""
    return WIDE_LINE if width >= LABEL + WIDE_LINE else NARROW_LINE


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


def lines(levels: Levels, looking: Looking, before: U8 | None, snapshot: Snapshot, size: Size, look: Look) -> list[Text]:
    """The whole page. ``before`` = what was shown last, [512], so that what changed is underlined."""
    names, width = ways(levels), size.width
    what = looking.what % len(names)
    shown = levels.sent[what - 2] if 2 <= what < len(names) - 1 else levels.shown
    rivals = len(levels.counting) > 1
    beside = rivals and what == 0 and width >= BESIDE
    name = "two senders beside each other, bold where they differ" if beside else names[what]
    out = [cut(Text(f"{universe(levels.protocol, levels.universe)}: {name}", look.strong), width)]
    out += _senders(levels, width, look)
    if beside:
        out += [Text(), *_beside(levels, looking.cursor, look), Text()]
    else:
        out += [Text(), *_grid(levels, shown, what, looking, before, width, look), Text()]
    out += _cursor(levels, looking, width, look)
    if looking.followed is not None:
        return out + _followed(looking, snapshot, width, look)
    if rivals and what in (0, len(names) - 1):
        out += _differences(levels, looking.percent, width, max(size.height - len(out), 2), look)
        return out
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
    names, differ = ways(levels), levels.differ
    if what == 1 and len(names) > 1:
        signs = ["-" if w == 255 else LETTERS[min(int(w), 25)] for w in levels.wins]
    elif what == len(names) - 1 and len(names) > 1:
        signs = ["x" if d else "\u00b7" for d in differ]
    else:
        signs = [_bar(int(v)) for v in shown]
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


def _differences(levels: Levels, percent: bool, width: int, most: int, look: Look) -> list[Text]:
    """Which neighbours differ, and what each source says of them, in at most ``most`` lines."""
    who = " and ".join(LETTERS[at] for at in levels.counting)
    found = disagreements(levels, percent)
    if not found:
        return [cell(f"{who} send the same on all {SLOTS} DMX channels.", width, look.text)]
    out = [cell(f"{who} differ on {count(sum(many for many, _ in found), 'DMX channel')}:", width, look.strong)]
    room = most - 1 if len(found) < most else max(most - 2, 1)
    out += [cell(said, width, look.text) for _, said in found[:room]]
    left = sum(many for many, _ in found[room:])
    return [*out, cell(f"         and on {left} more", width, look.faint)] if left else out


def _beside(levels: Levels, cursor: int, look: Look) -> list[Text]:
    """The first two sources that count, beside each other; where they agree they stand back."""
    first, second = levels.counting[:2]
    out = [Text.assemble(" " * LABEL, (f"{LETTERS[first]:{WIDE_LINE + GAP}}{LETTERS[second]}", look.text))]
    for start in range(0, SLOTS, WIDE_LINE):
        line = Text(f"{start + 1:4} ", look.faint)
        for source in (first, second):
            line.append(" " * GAP if source == second else "")
            for at in range(start, start + WIDE_LINE):
                style = look.strong if levels.differ[at] else look.faint
                line.append(_bar(int(levels.sent[source, at])), f"{look.strong} reverse" if at == cursor else style)
        out.append(line)
    return out


def _bar(level: int) -> str:
    bars = PLAIN_BARS if os.environ.get("TERM") == "linux" else BARS
    return bars[0 if level == 0 else 1 + level * 7 // 255]
