"""The lines on top in the states of the laptop, as the rules themselves tell them of its marks; the picture is kept beside this.

After a wanted change look at it, then draw it anew: NETWATCH_REDRAW=1 python -m pytest tests/screens/test_trust.py
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

from netwatch.screens.looks import PLAIN
from netwatch.screens.trust import trust
from netwatch.story.snapshot import Snapshot
from tests.stories.boxes import LAPTOP
from tests.stories.frames import query, report
from tests.stories.script import Line, at, listening, mark, story, stream
from tests.stories.test_own_interfaces import AIR, TUNNEL, boxes, told

KEPT = Path(__file__).with_name("this_laptop.txt")
ASKED = at(0.5, query(), report(LAPTOP, "239.255.0.1"))
LIGHT = stream(hz=40, start=1, stop=20)
STATES: dict[str, tuple[Line, ...]] = {
    "nothing is wrong with it": (told(0, 20), LIGHT),
    "two interfaces in one network": (told(0, 20, others=[AIR]), LIGHT),
    "a firewall": (told(0, 20, reaches={"5568": False}), LIGHT),
    "a tunnel": (told(0, 20, astray=[{"to": "10.0.0.0/24", **TUNNEL}]), LIGHT),
    "packets are missed": ([event for second in range(21) for event in mark(second, dropped=12 * second)], LIGHT),
    "the cable is out": (told(0, 9), told(10, 20, link=False), stream(hz=40, start=1, stop=10)),
    "three things at once": (
        told(0, 20, others=[AIR], astray=[{"to": "multicast", **TUNNEL}]), LIGHT,
        [event for second in range(21) for event in mark(second, dropped=12 * second)],
    ),
}


def seen(lines: tuple[Line, ...]) -> Snapshot:
    """From an ordinary port, while a universe runs that this laptop asked for."""
    return replace(story(listening("ordinary"), ASKED, boxes(20), *lines), live=True)


def test_what_stands_on_top() -> None:
    parts = []
    for name, lines in STATES.items():
        shown = seen(lines)
        for width in (80, 140) if name == "three things at once" else (80,):
            head = [line.plain for line in trust(shown, width, PLAIN)]
            assert all(len(line) == width for line in head)
            parts += [f"--- {name}, {width} cells", *(line.rstrip() for line in head), ""]
    drawn = "\n".join(parts)
    if os.environ.get("NETWATCH_REDRAW"):
        KEPT.write_text(drawn, encoding="utf-8")
    assert drawn == KEPT.read_text(encoding="utf-8")
