"""Words for level history: levels and DMX channels as people say them, changes, and moments that an eye sees."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from .phrases import count, listing, number, ranges, seconds, start, three_numbers

MOST_RUNS = 8

HEADS = {
    "by": "SENT BY", "winners": "WHO WINS NOW", "moments": "WHAT AN EYE MAY HAVE SEEN",
    "changes": "CHANGES, ONE AFTER THE OTHER",
}  # fmt: skip
NOBODY = "Nothing was heard of it. Is it the right universe? 'netwatch replay FILE' lists all that were sent."
NO_WINNER = "No two sources reach the same receiver now."
NO_MOMENT = (
    "No two sources with different levels in turns, no single frame unlike its neighbours, no fall of all to zero for a frame."
)
EFFECT = "So often: perhaps an effect that is meant."


def head(protocol: str, universe: int, first: int, last: int) -> str:
    """'LEVELS OF UNIVERSE 3, DMX CHANNELS 1-20'."""
    which = f"UNIVERSE {universe}" if protocol == "e131" else f"ART-NET UNIVERSE {three_numbers(universe)} ({universe})"
    return f"LEVELS OF {which}, DMX CHANNEL{'S' if last > first else ''} {ranges(range(first, last + 1))}"


def level(value: int) -> str:
    """'off', 'full', '50 % (128)'; never 0 % or 100 % for what is neither off nor full."""
    if value in (0, 255):
        return "full" if value else "off"
    return f"{min(max(round(value / 2.55), 1), 99)} % ({value})"


def channels(which: Iterable[int]) -> str:
    """'DMX channel 5', 'DMX channels 1-4, 9'."""
    found = sorted(which)
    return f"DMX channel{'s' if len(found) > 1 else ''} {ranges(found)}"


def runs(levels: Sequence[int], first: int, which: Iterable[int] | None = None, sent: int | None = None) -> str:
    """'1-24 full, 25-96 off': those of ``which`` places (None = all); places from ``sent`` on are not in the frame."""
    found: list[tuple[int, int, str]] = []
    for place in range(len(levels)) if which is None else which:
        said = "not sent" if sent is not None and place >= sent else level(levels[place])
        if found and found[-1][2] == said and found[-1][1] == place - 1:
            found[-1] = found[-1][0], place, said
        else:
            found.append((place, place, said))
    shown = [f"{first + a}-{first + b} {said}" if b > a else f"{first + a} {said}" for a, b, said in found[:MOST_RUNS]]
    left = sum(b - a + 1 for a, b, _ in found[MOST_RUNS:])
    return ", ".join(shown) + (f", and {count(left, 'more channel', 'more channels')}" if left else "")


def sends(
    address: str, to: str, destination: str, priority: int | None, *, silent: bool, ended: bool, preview: bool
) -> list[str]:  # fmt: skip
    """How a source sends, in short parts."""
    return [
        address,
        "to all" if destination == "broadcast" else f"to {to}",
        *([f"priority {priority}"] if priority is not None else []),
        *(["preview only: drives nothing"] if preview else []),
        *(["has ended"] if ended else ["silent now"] if silent else []),
    ]


def frames(sent: int, late: int, cut: int) -> str:
    """'4,400 frames', and what is the matter with some."""
    out = count(sent, "frame", "frames")
    if late:
        out += f"; {count(late, 'more frame', 'more frames')} came too late, so receivers threw them away (not shown)"
    if cut:
        out += f"; {count(cut, 'more frame was', 'more frames were')} not recorded whole"
    return out


def copied(to: Sequence[str]) -> str:
    """Receivers that get the same."""
    return f"; the same to {listing(to)}" if to else ""


def last_heard(frames: int) -> str:
    """A source's end without a word."""
    return "is heard here for the last time" if frames > 1 else "is heard here this once"


def brief(value: float) -> str:
    """'25 ms', '1.2 s'."""
    return f"{value * 1000:.0f} ms" if value < 1 else seconds(value)


def begins(silence_s: float | None) -> str:
    """A source's first frame, or its return."""
    return "begins" if silence_s is None else f"is back after {seconds(silence_s)}"


def says(*, ended: bool, preview: bool | None, priority: int | None) -> list[str]:
    """What changed beside the levels; None = did not."""
    return [
        *(["says that it ends"] if ended else []),
        *([] if preview is None else ["preview only from here on" if preview else "no longer preview only"]),
        *([] if priority is None else [f"priority {priority}"]),
    ]


def folded(times: int, lasting: float, which: Iterable[int]) -> str:
    """Many changes in one line."""
    return f"{count(times, 'change', 'changes')} in {seconds(lasting)} on {channels(which)}; then"


def left_out(times: int) -> str:
    return f"({count(times, 'line', 'lines')} left out: name fewer DMX channels, or use --json)"


def forgotten(times: int) -> str:
    older = count(times, "older change", "older changes")
    return f"{older} not kept: there is room for 16 MiB. Name fewer DMX channels to see further back."


def refused(times: int) -> str:
    return f"{count(times, 'frame', 'frames')} of more than 64 sources not kept."


def won(
    protocol: str, which: Iterable[int], rule: str, names: Sequence[str], priorities: Sequence[int], highest: str | None
) -> str:  # fmt: skip
    """Who wins some DMX channels, and by which rule (E1.31-2018 6.2.3; Art-Net 4 p.62)."""
    if protocol == "artnet" and len(names) > 1:
        brightest = f"now {highest} is the highest" if highest else "now all send the same levels"
        said = (
            f"the node decides between {listing(names)}: Art-Net knows no priority. It takes the highest level of two sources "
            f"unless it is set to the latest; {brightest}."
        )
    else:
        said = _won(rule, names, priorities, highest)
    return f"{start(channels(which))}: {said}"


def _won(rule: str, names: Sequence[str], priorities: Sequence[int], highest: str | None) -> str:
    if rule == "nobody" or not names:
        return "nobody drives them."
    if rule == "alone":
        return f"{names[0]}; nobody else drives them."
    if rule == "priority":
        numbers = f" ({priorities[0]} before {priorities[1]})" if len(priorities) > 1 else ""
        return f"{names[0]}, by the higher priority{numbers}."
    if rule == "slot priority":
        return f"{names[0]}, by its priority channel by channel (START code 0xDD: common practice, in no standard)."
    same = f"the same priority {priorities[0]}" if priorities else "equal rights"
    brightest = "all send the same levels" if not highest else f"one that takes the highest level follows {highest}"
    return f"the receiver decides between {listing(names)}, which have {same}; no standard does. Now {brightest}."


def turns(names: Sequence[str], which: Iterable[int], times: int, lasting: float) -> str:
    """Two sources that alternate."""
    return (
        f"{listing(names)} send different levels in turns: {number(times)} changes to and fro in {seconds(lasting)}, "
        f"on {channels(which)}. A receiver that takes the newest frame flickers."
    )


def zero(who: str, frames: int, lasting: float, stood: int) -> str:
    """All at zero for a frame."""
    length = "one frame" if frames == 1 else f"{frames} frames"
    return f"{who}: all fell to zero for {length} ({brief(lasting)}) from {level(stood)} at the highest, and came back."


def one_frame(who: str, which: Sequence[int], lasting: float, shown: int, stood: int) -> str:
    """One frame unlike its neighbours."""
    several = " at the highest" if len(which) > 1 else ""
    return (
        f"{who}: one frame ({brief(lasting)}) unlike its neighbours on {channels(which)}: "
        f"{level(shown)}{several}, {level(stood)} before and after."
    )


def more(times: int) -> str:
    return f"and {number(times)} more. {EFFECT if times > 50 else ''}".strip()
