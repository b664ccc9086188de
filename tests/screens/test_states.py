"""What the screens look like in the states that matter: text and styles, kept as files beside this one.

After a wanted change look at each picture, then draw them anew: NETWATCH_REDRAW=1 python -m pytest tests/screens/test_states.py
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest
from screen_helpers import Deeds, Source, alert, at, checks, host, picture, snapshot, stream, wait_for

from netwatch.screens.app import NetwatchApp
from netwatch.story import snapshot as s
from netwatch.story.light_views import FrameView, WinnerView

STATES = Path(__file__).parent / "states"
REDRAW = bool(os.environ.get("NETWATCH_REDRAW"))
ENDING = s.Ending("eth0", None, "lease", "10.0.0.21", at(3600), None,
                  "Gatehouse desk has to give back 10.0.0.21 unless 10.0.0.1 prolongs it.",
                  "host:02:00:00:00:00:15", at(1800))  # fmt: skip
DARK_AT = s.Ending(
    "eth0", None, "group", "239.255.0.7", at(800), at(960), "The switch stops passing on sACN 7, as nobody asks.", "universe:7"
)
WORDS = (
    s.Happening(at(61), "opened", "Two DHCP servers seen: 10.0.0.1 and 10.0.0.77 both hand out addresses", 1),
    s.Happening(at(300), "word", "pond dark"), s.Happening(at(420), "closed", "Boathouse went silent: universes 9-12", 8),
)  # fmt: skip
HOSTILE = "[b]Orchard[/b] \u202eevil \\x1b[31m"


@dataclass
class Tape:
    """A recorded evening that stands still in its middle."""

    moments: tuple[int, ...] = (at(61),)
    first: int = at(0)
    last: int = at(1200)
    playing: bool = False
    speed: int = 1
    at: int = at(760)

    def play(self, playing: bool) -> None:
        self.playing = playing

    def hasten(self, faster: bool) -> None:
        self.speed *= 2

    def seek(self, at: int) -> None:
        self.at = at


@dataclass
class State:
    """A moment, how it is looked at, the keys that lead there, and a text by which one knows that one is there."""

    until: str
    keys: tuple[str, ...] = ()
    size: tuple[int, int] = (80, 24)
    look: str = "dark"
    moment: Callable[[], s.Snapshot] = snapshot
    live: bool = True
    plain: bool = False
    tape: dict[str, Any] | None = None
    then: dict[str, Any] = field(default_factory=dict)
    """What changes after the keys."""


def empty() -> s.Snapshot:
    unknown = s.Listening("eth0", "unknown", (), "wired", "up", (), 0, 0)
    yet = tuple(replace(each, state="NOT YET", text="Nothing was heard yet.", alert=None) for each in checks())
    return snapshot(
        packets=0, first=None, last=None, alerts=(), checks=yet, streams=(), hosts=(), servers=(), listening=(unknown,)
    )


def fine() -> s.Snapshot:
    good = tuple(replace(each, state="FINE", alert=None) for each in checks())
    return snapshot(alerts=(), checks=good)


def forty() -> s.Snapshot:
    ranks = ("now", "soon", "quality", "tidy", "note")
    return snapshot(alerts=tuple(alert(n, ranks[n % 5]) for n in range(1, 41)))


def hostile() -> s.Snapshot:
    return snapshot(
        alerts=(alert(1, "now", f"{HOSTILE} went silent"),),
        streams=(stream(1, name=HOSTILE),),
        hosts=(host(5, names=((HOSTILE, "DHCP"),)),),
    )


def limited() -> s.Snapshot:
    plug = s.Listening("eth0", "limited", ("without rights to read frames",), "wired", "up", ("10.0.0.50/24",), 900, 12)
    missed = alert(
        9,
        "soon",
        "The recording missed 12 packets on eth0: do not trust losses shown here",
        code="capture-dropping",
        about_laptop=True,
        facts={"dropped": 12, "interface": "eth0"},
    )
    return snapshot(listening=(plug,), dropped=12, alerts=(missed,))


def full() -> s.Snapshot:
    return snapshot(limits=(s.Limit("DHCP clients", 4096, 4096, 9_000, 12, at(300)),))


def fight() -> s.Snapshot:
    sources = (stream(3), stream(3, name="Visitor desk", source="b", address="10.0.0.12"))
    frames = tuple(
        FrameView("eth0", None, each.source, each.name, each.address, 100, "", bytes((n * step) % 256 for n in range(48)))
        for each, step in zip(sources, (5, 11), strict=True)
    )
    winner = WinnerView("eth0", None, "e131", 3, "receiver decides", None, tuple(each.source for each in sources), (), ())
    return snapshot(streams=sources, frames=frames, winners=(winner,))


def later() -> s.Snapshot:
    return snapshot(endings=(DARK_AT, ENDING), happenings=WORDS)


def show() -> s.Snapshot:
    """Something at 'now', three that wait, one that is quiet, one that is known."""
    steps = (("Decide which of them is to have universe 3.", "nothing"), ("Restart the one that is not.", "its light"))
    return snapshot(phase="show", alerts=(
        alert(1, "soon", "Two DHCP servers seen: 10.0.0.1 and 10.0.0.77 both hand out addresses"),
        alert(2, "now", "Gatehouse desk and Visitor desk fight over universe 3: 37 channels differ",
              steps=steps, waits=(False, True), first_step=steps[0][0]),
        alert(4, "quality", "1.2 % of universe 3 gets lost on the way here"),
        alert(5, "tidy", "Art-Net goes to every box: 9 Mbit/s"),
        alert(6, "now", "Two devices use 10.0.0.5", quiet=at(400)),
        alert(7, "soon", "10.0.0.9 found no DHCP server and made up an address", accepted={"why": "spare box"}),
    ))  # fmt: skip


CASES = {
    "nothing heard yet": State("NOT YET", moment=empty),
    "all fine": State("No alert is open", moment=fine),
    "first": State("Alerts, worst first"),
    "first, large": State("Alerts, worst first", size=(140, 40)),
    "first, narrow": State("FINE", size=(60, 24)),
    "first, tiny": State("FINE", size=(40, 12)),
    "first, sun": State("Alerts, worst first", look="sun"),
    "first, night": State("Alerts, worst first", look="night"),
    "first, no colour": State("Alerts, worst first", plain=True),
    "forty alerts": State("Alert number 5", moment=forty, keys=("down",) * 12),
    "an alert": State("What to do, in this order", keys=("down", "down", "enter")),
    "an alert, large": State("What to do, in this order", keys=("down", "down", "enter"), size=(140, 40)),
    "a show": State("Later (3)", moment=show),
    "a show, large": State("Later (3)", moment=show, size=(140, 40)),
    "a show, night": State("Later (3)", moment=show, look="night"),
    "an alert, in a show": State("After the show", moment=show, keys=("n",)),
    "known, for how long": State("Type today, or job", moment=show, keys=("n", "a")),
    "light": State("who wins", keys=("2",), moment=fight),
    "light, large": State("heard for", keys=("2",), size=(140, 40)),
    "levels": State("Who wins:", keys=("2", "enter", "enter"), moment=fight),
    "levels, side by side": State("beside each other", keys=("2", "enter", "enter"), moment=fight, size=(140, 40)),
    "levels, who wins": State("who wins, by letter", keys=("2", "enter", "enter", "v"), moment=fight),
    "boxes": State("gives addresses", keys=("3",)),
    "a box": State("Got its address from", keys=("3", "down", "enter")),
    "runs out": State("any moment", keys=("4",), moment=lambda: snapshot(now=at(850), endings=(DARK_AT, ENDING))),
    "evening": State("What happened", keys=("5",), moment=later),
    "evening, large": State("What happened", keys=("5",), moment=later, size=(140, 40)),
    "what do you see": State("It is dark", keys=("w",)),
    "followed on its way": State("The switch held it back.", keys=("w", "enter", "7", "enter")),
    "a question": State("Mark this moment", keys=("m",)),
    "help": State("Help: Checks and alerts", keys=("question_mark",)),
    "hostile names": State("Orchard", keys=("2",), moment=hostile),
    "limited view": State("limited view", moment=limited),
    "a table is full": State("more DHCP clients than I keep", moment=full),
    "stands still": State("stands still", keys=("space",), size=(140, 40)),
    "replay": State("stands still", live=False, tape={}, size=(110, 30)),
    "replay, at its end": State("end of the capture", live=False, tape={"at": at(1200)}),
    "a new alert at now": State("n opens it", keys=("3",), then={
        "alerts": (alert(21, "now", "Boathouse went silent: universes 9-12"),)}),
    "a new alert at now, at night": State(
        "n opens it", keys=("3",), look="night", then={"alerts": (alert(21, "now", "Boathouse went silent: universes 9-12"),)}
    ),
    "narrowed to some words": State("Only lines with", keys=("2", "slash", *"pond", "enter")),
    "link down": State(
        "link down", moment=lambda: snapshot(listening=(replace(snapshot().listening[0], link="down"),), alerts=())
    ),
}  # fmt: skip


def styled(app: Any) -> str:
    """The styles of each line, as runs of (first cell, last cell, style)."""
    out = []
    for number, strip in enumerate(app.screen._compositor.render_strips(), 1):
        runs: list[tuple[int, int, str]] = []
        cell = 0
        for segment in strip:
            style = segment.style
            words = [w for w in ("bold", "reverse", "underline") if style and getattr(style, w)]
            words += [
                f"{style.color.name}" if style and style.color else "",
                f"on {style.bgcolor.name}" if style and style.bgcolor else "",
            ]
            said, end = " ".join(word for word in words if word), cell + segment.cell_length
            if runs and runs[-1][2] == said:
                runs[-1] = (runs[-1][0], end, said)
            else:
                runs.append((cell, end, said))
            cell = end
        out.append(f"{number:2}: " + "; ".join(f"{a}-{b} {said}".rstrip() for a, b, said in runs))
    return "\n".join(out)


@pytest.mark.parametrize("name", CASES)
async def test_it_looks_as_it_did(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    case = CASES[name]
    if case.plain:
        monkeypatch.setenv("NO_COLOR", "1")
    source = Source(case.moment(), tape=None if case.tape is None else Tape(**case.tape))
    tool = NetwatchApp(source, actions=Deeds() if case.live else None, look=case.look)
    async with tool.run_test(size=case.size) as pilot:
        for key in case.keys:
            await pilot.press(key)
            await pilot.pause()
        if case.then:
            source.change(**case.then)
        await wait_for(pilot, lambda: case.until in picture(tool), f"{case.until!r} is seen")
        drawn = ""
        while drawn != (drawn := f"{picture(tool)}\n\n{styled(tool)}\n"):  # until nothing is still to be painted
            await pilot.pause(0.1)
    kept = STATES / f"{name.replace(', ', ' - ').replace(' ', '_')}.txt"
    if REDRAW:
        kept.parent.mkdir(exist_ok=True)
        kept.write_text(drawn, encoding="utf-8")
    assert drawn == kept.read_text(encoding="utf-8")


def test_there_is_no_picture_without_its_state() -> None:
    assert {each.stem for each in STATES.glob("*.txt")} == {name.replace(", ", " - ").replace(" ", "_") for name in CASES}
    assert len(CASES) >= 25
