"""The level history as text: who sent, what an eye may have seen, and the changes, one a line, long parts folded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import tzinfo
from typing import TYPE_CHECKING

from netwatch.packets.batch import FileSeen
from netwatch.story.light_views import LevelMoment, LevelSource, LevelsView
from netwatch.story.snapshot import Snapshot
from netwatch.words import levels as words
from netwatch.words.phrases import plain

from .layout import Line, hang, painted, wrap
from .text import MARGIN, NARROWEST, head
from .times import NS, Times

if TYPE_CHECKING:
    from netwatch.network.history import Change

CLOSE = NS // 2
"""Changes of one source that are no further apart belong together."""
FOLDED_FROM = 4
"""So many of them are one line."""
MOST_LINES, MOST_MOMENTS, MOST_SOURCES = 60, 12, 16


def render(
    snapshot: Snapshot, files: Sequence[FileSeen], *, colour: bool = False, width: int = 80, zone: tzinfo | None = None
) -> str:
    """Lines of at most ``width`` cells (40 at least). ``snapshot.levels`` must be there."""
    view = snapshot.levels
    assert view is not None
    width = max(width, NARROWEST)
    times = Times(snapshot.first, zone)
    lines = [Line(text) for label, text in head(snapshot, files, times) for text in hang(label, text, width, MARGIN)]
    lines += [Line(""), *_head(words.head(view.protocol, view.universe, view.first, view.last), width), Line("")]
    if view.sources:
        copies = _copies(view)
        view = _without(view, copies)
        parts = ((words.HEADS["by"], _sources(view, copies, width)), (words.HEADS["winners"], _winners(view, width)),
                 (words.HEADS["moments"], _moments(view, times, width)),
                 (words.HEADS["changes"], _changes(view, times, width)))  # fmt: skip
        lines += [line for said, body in parts for line in (*_head(said, width), *body, Line(""))][:-1]
    else:
        lines += [Line(text) for text in wrap(words.NOBODY, width)]
    return painted(lines, colour)


def label(place: int) -> str:
    """A, B ... Z, A2 ..: a source's letter."""
    return chr(ord("A") + place % 26) + (str(place // 26 + 1) if place >= 26 else "")


def named(view: LevelsView, place: int) -> str:
    """'A (gatehouse desk)'."""
    name = view.sources[place].name or view.sources[place].address
    return f"{label(place)} ({plain(name)})"


def _head(text: str, width: int) -> list[Line]:
    return [Line(part, "head") for part in wrap(text, width)]


def _copies(view: LevelsView) -> dict[int, int]:
    """Sources that are sent just as an earlier one, to another receiver: that one's place by theirs."""
    sent: list[list[tuple[bytes, int]]] = [[] for _ in view.sources]
    for change in view.changes:
        sent[change.source].append((change.levels, change.priority << 8 | change.options))
    first: dict[object, int] = {}
    keys = [(s.source, s.name, s.address, s.interface, s.vlan, *sent[place]) for place, s in enumerate(view.sources)]
    return {place: first[key] for place, key in enumerate(keys) if first.setdefault(key, place) != place}


def _without(view: LevelsView, copies: dict[int, int]) -> LevelsView:
    return replace(
        view, changes=tuple(each for each in view.changes if each.source not in copies),
        moments=tuple(each for each in view.moments if each.what == "turns" or each.sources[0] not in copies),
    )  # fmt: skip


def _sources(view: LevelsView, copies: dict[int, int], width: int) -> list[Line]:
    own = [place for place in range(len(view.sources)) if place not in copies]
    also = [[view.sources[copy].to for copy, of in copies.items() if of == place] for place in own]
    out = [
        Line(text) for place, others in zip(own[:MOST_SOURCES], also, strict=False)
        for text in hang(label(place), _source(view.sources[place]) + words.copied(others), width, 4)
    ]  # fmt: skip
    left = len(own) - MOST_SOURCES
    out += [Line(words.more(left))] if left > 0 else []
    return out + ([Line(text) for text in wrap(words.refused(view.refused), width)] if view.refused else [])


def _source(source: LevelSource) -> str:
    how = words.sends(
        source.address, source.to, source.destination, source.priority, silent=source.silent, ended=source.ended,
        preview=source.preview,
    )  # fmt: skip
    return ", ".join([*([plain(source.name)] if source.name else []), *how, words.frames(source.frames, source.late, source.cut)])


def _winners(view: LevelsView, width: int) -> list[Line]:
    places = {(each.interface, each.vlan) for each in view.winners}
    out = [] if view.winners else [Line(text) for text in wrap(words.NO_WINNER, width)]
    for each in view.winners[:MOST_MOMENTS]:
        names, highest = [plain(name) for name in each.sources], each.highest and plain(each.highest)
        said = words.won(view.protocol, range(each.first, each.last + 1), each.rule, names, each.priorities, highest)
        where = "" if len(places) < 2 else each.interface if each.vlan is None else f"{each.interface} VLAN {each.vlan}"
        out += [Line(text) for text in hang("-", f"{plain(where)}: {said}" if where else said, width, 2)]
    left = len(view.winners) - MOST_MOMENTS
    return out + ([Line(words.more(left))] if left > 0 else [])


# ---- moments ----


def _moments(view: LevelsView, times: Times, width: int) -> list[Line]:
    if not view.moments:
        return [Line(text) for text in wrap(words.NO_MOMENT, width)]
    worst = sorted(view.moments, key=lambda moment: (("turns", "zero", "one frame").index(moment.what), moment.at))
    shown = sorted(worst[:MOST_MOMENTS], key=lambda moment: (moment.at, moment.n))
    out = [Line(text) for moment in shown for text in hang(_clock(times, moment.at), _moment(view, moment), width, 14)]
    left = len(view.moments) - MOST_MOMENTS
    return out + ([Line(words.more(left))] if left > 0 else [])


def _moment(view: LevelsView, moment: LevelMoment) -> str:
    lasting = (moment.until - moment.at) / NS
    names = [named(view, place) for place in moment.sources]
    if moment.what == "turns":
        return words.turns(names, moment.channels, moment.times, lasting)
    if moment.what == "zero":
        return words.zero(names[0], moment.times, lasting, moment.stood or 0)
    return words.one_frame(names[0], moment.channels, lasting, moment.level or 0, moment.stood or 0)


def _clock(times: Times, ns: int) -> str:
    """'18:02:11.106'."""
    return f"{times.clock(ns)}.{ns % NS // 1_000_000:03d}"


# ---- changes ----


def _changes(view: LevelsView, times: Times, width: int) -> list[Line]:
    parts = _parts(view.changes)
    before: dict[int, Change] = {}
    told = []
    for part in parts:
        was = before.get(part[0].source)
        told.append((part[0].at, f"{label(part[0].source)}  {_part(view, part, was)}"))
        before[part[0].source] = part[-1]
    told += [
        (source.last, f"{label(place)}  {words.last_heard(source.frames)}") for place, source in enumerate(view.sources)
        if source.silent and not source.ended and place in before
    ]  # fmt: skip
    told.sort(key=lambda line: line[0])
    half = MOST_LINES // 2
    gap = len(told) - MOST_LINES
    out = [Line(text) for text in wrap(words.forgotten(view.forgotten), width)] if view.forgotten else []
    for place, (at, text) in enumerate(told):
        if gap > 0 and half <= place < half + gap:
            out += [Line(left) for left in wrap(words.left_out(gap), width)] if place == half else []
            continue
        out += [Line(line) for line in hang(_clock(times, at), text, width, 14)]
    return out


def _parts(changes: Sequence[Change]) -> list[list[Change]]:
    """Changes that follow each other closely are one part, if there are enough of them; by their beginning."""
    open_: dict[int, list[Change]] = {}
    parts: list[list[Change]] = []
    alone: set[int] = set()  # told in full: the first that is kept of a source, and returns
    for change in changes:
        part = open_.get(change.source)
        if part is None or change.begins:
            alone.add(change.n)
        if part is None or change.at - part[-1].at > CLOSE or alone & {change.n, part[-1].n} or _speaks(part[-1], change):
            part = open_[change.source] = []
            parts.append(part)
        part.append(change)
    out = [each for part in parts for each in ([part] if len(part) >= FOLDED_FROM else [[change] for change in part])]
    return sorted(out, key=lambda part: part[0].n)


def _speaks(was: Change, change: Change) -> bool:
    """Something besides the levels changes."""
    return (was.priority, was.options, was.slots) != (change.priority, change.options, change.slots)


def _part(view: LevelsView, part: list[Change], was: Change | None) -> str:
    """What one line says; ``was`` = the source's change before."""
    newest = part[-1]
    if was is None:
        silence = None if part[0].before is None else (part[0].at - part[0].before) / NS
        lead = f"{words.begins(silence)}: " if part[0].begins else ""
        return lead + words.runs(newest.levels, view.first, sent=newest.slots)
    moved = [place for place in range(len(newest.levels)) if _moves(was, part, place)]
    if len(part) > 1:
        lead = words.folded(len(part), (newest.at - part[0].at) / NS, [view.first + place for place in moved])
        return f"{lead} {words.runs(newest.levels, view.first, moved, newest.slots)}"
    turned = (newest.options ^ was.options) & 0x80
    said = words.says(
        ended=newest.ends and not was.ends, preview=bool(newest.options & 0x80) if turned else None,
        priority=newest.priority if newest.priority != was.priority else None,
    )  # fmt: skip
    if newest.begins:
        said = [words.begins((newest.at - (newest.before or newest.at)) / NS), *said]
        moved = list(range(len(newest.levels)))
    return ", ".join([*said, *([words.runs(newest.levels, view.first, moved, newest.slots)] if moved else [])])


def _moves(was: Change, part: list[Change], place: int) -> bool:
    """Does a channel change in this part, or is it sent no longer or anew?"""
    sent = (place < was.slots) != (place < part[-1].slots)
    return sent or any(change.levels[place] != was.levels[place] for change in part)
