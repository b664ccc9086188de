"""Each key of each screen does what it is said to do. One run of the app for many keys: the table is read from top to bottom."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest
from screen_helpers import Deeds, Source, alert, app, at, on_cursor, picture, snapshot, wait_for
from test_states import Tape, fight

from netwatch.screens.app import NetwatchApp
from netwatch.screens.ask import Answer, Ask
from netwatch.screens.levels import LevelsView
from netwatch.screens.lines import Lines


@dataclass
class Seat:
    """What a test can look at."""

    tool: NetwatchApp
    source: Source
    deeds: Deeds

    @property
    def sees(self) -> str:
        """The screen as text."""
        return picture(self.tool)

    @property
    def on(self) -> str:
        """The line with the cursor."""
        return on_cursor(self.tool)

    @property
    def channel(self) -> str:
        """What the levels say of the cursor."""
        return next((line for line in self.sees.split("\n") if line.startswith("  Channel ")), "")


Step = tuple[str, str, Callable[[Seat], bool]]
"""Key (or several, one after another), what happens, and how one sees it."""

LIVE: tuple[Step, ...] = (
    ("2", "Light", lambda t: "sent by" in t.sees),
    ("3", "Boxes", lambda t: "address from" in t.sees),
    ("4", "Runs out", lambda t: "what ends" in t.sees),
    ("5", "Evening", lambda t: "the moment that is shown" in t.sees),
    ("w", "the eight phrases", lambda t: "It flickers" in t.sees),
    ("escape", "back to First", lambda t: "Alerts, worst first" in t.sees),
    ("1", "First", lambda t: "Alerts, worst first" in t.sees),
    ("down", "the second check", lambda t: "The rig is heard" in t.on),
    ("up", "the first check", lambda t: "This laptop" in t.on),
    ("j", "down by letter", lambda t: "The rig is heard" in t.on),
    ("k", "up by letter", lambda t: "This laptop" in t.on),
    ("end", "the last alert", lambda t: "Boathouse went silent" in t.on),
    ("home", "the first check", lambda t: "This laptop" in t.on),
    ("pagedown", "a page on", lambda t: "This laptop" not in t.on and bool(t.on)),
    ("pageup", "a page back", lambda t: "This laptop" in t.on),
    ("down down enter", "the alert behind a WRONG check", lambda t: "!! NOW  since 20:01:01" in t.sees),
    ("escape", "back, on the check", lambda t: "One DHCP server" in t.on),
    ("n", "the newest alert at 'now'", lambda t: "!! NOW  since 20:01:02" in t.sees),
    ("a", "known is asked about", lambda t: "Known, leave it:" in t.sees),
    ("t o d a y enter", "a reason is asked for", lambda t: "Why? A word for the report" in t.sees),
    ("enter", "it is known", lambda t: t.deeds.done[-1:] == [("today", "2 ")]),
    ("x", "mended is asked about", lambda t: "Mended: Multicast" in t.sees),
    ("y e s enter", "it is mended", lambda t: t.deeds.done[-1:] == [("mended", "2")]),
    ("c", "the page is copied", lambda t: "Copied." in t.sees and "What to do" in t.tool.clipboard),
    ("question_mark", "help on this page", lambda t: "Help: One thing by itself" in t.sees),
    ("escape", "back to the alert", lambda t: "!! NOW  since 20:01:02" in t.sees),
    ("m", "a word is asked for", lambda t: "Mark this moment" in t.sees),
    ("p o n d enter", "it is marked", lambda t: t.deeds.done[-1:] == [("mark", "pond")]),
    ("p", "the phase is asked about", lambda t: "The phase is building" in t.sees),
    ("escape", "it stays", lambda t: not t.tool.query_one(Ask).asking),
    ("J", "which universes is asked", lambda t: "Join which universes?" in t.sees),
    ("escape", "nothing is sent", lambda t: not any(what == "join" for what, _ in t.deeds.done)),
    ("o", "the page for a second screen", lambda t: "http://127.0.0.1:1/abc" in t.sees),
    ("t", "another look", lambda t: t.tool.look.name == "night"),
    ("2 slash", "words are asked for", lambda t: "Show only lines with these words" in t.sees),
    ("v i s i t enter", "only lines with them", lambda t: "Only lines with 'visit'" in t.sees and "Gatehouse" not in t.sees),
    ("escape", "all lines again", lambda t: "Only lines" not in t.sees and "Gatehouse" in t.sees),
    ("space", "the picture stands still", lambda t: "this picture stands still" in t.sees),
    ("space", "it goes on", lambda t: "stands still" not in t.sees),
    ("home enter enter", "the levels of a universe", lambda t: "Who wins:" in t.sees and t.channel.startswith("  Channel 1:")),
    ("right", "the next channel", lambda t: t.channel.startswith("  Channel 2: a 2 %")),
    ("left", "the one before", lambda t: t.channel.startswith("  Channel 1:")),
    ("l", "right by letter", lambda t: t.channel.startswith("  Channel 2:")),
    ("h", "left by letter", lambda t: t.channel.startswith("  Channel 1:")),
    ("down", "a line down", lambda t: t.channel.startswith("  Channel 65:")),
    ("up", "a line up", lambda t: t.channel.startswith("  Channel 1:")),
    ("j", "down by letter", lambda t: t.channel.startswith("  Channel 65:")),
    ("k", "up by letter", lambda t: t.channel.startswith("  Channel 1:")),
    ("end", "the last channel", lambda t: t.channel.startswith("  Channel 512:")),
    ("home right", "the first, and the second", lambda t: t.channel.startswith("  Channel 2: a 2 %")),
    ("percent_sign", "0 to 255", lambda t: t.channel.startswith("  Channel 2: a 5, b 11")),
    ("v", "who wins, by letter", lambda t: "who wins, by letter" in t.sees),
    ("f", "the channel is followed", lambda t: "Channel 2 since it is followed" in t.sees),
    ("escape", "back to the source", lambda t: "Its levels, and who wins" in t.sees),
    ("ctrl+p", "the list of commands", lambda t: len(t.tool.screen_stack) == 2),
    ("escape", "and away again", lambda t: len(t.tool.screen_stack) == 1),
)
TIME: tuple[Step, ...] = (
    ("space", "it plays", lambda t: "playing" in t.sees),
    ("space", "it stands still", lambda t: "stands still" in t.sees),
    ("plus", "faster", lambda t: tape(t).asked[-1:] == ["faster"]),
    ("minus", "slower", lambda t: tape(t).asked[-1:] == ["slower"]),
    ("comma", "the moment before", lambda t: tape(t).at == at(61)),
    ("full_stop", "the next moment: the end", lambda t: tape(t).at == at(1200)),
    ("left_square_bracket", "10 s back", lambda t: tape(t).at == at(1190)),
    ("right_square_bracket", "10 s on", lambda t: tape(t).at == at(1200)),
    ("g", "a time is asked for", lambda t: "Go to which time of day?" in t.sees),
    ("2 0 colon 0 5 enter", "there it is", lambda t: tape(t).at == at(300)),
)
ELSEWHERE = {"q", "ctrl+c"}
"""They end the app: ``test_keys.py``, ``test_deeds.py``."""


class Played(Tape):
    """Writes down how fast it is asked to go."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[str] = []

    def hasten(self, faster: bool) -> None:
        self.asked.append("faster" if faster else "slower")


def tape(seat: Seat) -> Played:
    assert isinstance(seat.source.tape, Played)
    return seat.source.tape


def bound() -> Iterator[str]:
    for owner in (NetwatchApp, Lines, LevelsView, Ask, Answer):
        for binding in owner.BINDINGS:
            yield from getattr(binding, "key", "").split(",")


def test_the_table_holds_every_key() -> None:
    pressed = {key for keys, _, _ in (*LIVE, *TIME) for key in keys.split()}
    assert set(bound()) - ELSEWHERE <= pressed


@pytest.mark.parametrize("live", [True, False], ids=["live", "replay"])
async def test_each_key(live: bool) -> None:
    alerts = (*snapshot().alerts, alert(9, "note", "Visitor desk came"))
    source = Source(snapshot(streams=fight().streams, frames=fight().frames, winners=fight().winners, alerts=alerts))
    source.tape = None if live else Played()
    seat = Seat(app(source, Deeds() if live else None), source, Deeds())
    seat.deeds = seat.tool.actions or seat.deeds  # type: ignore[assignment]
    async with seat.tool.run_test(size=(80, 24)) as pilot:
        await wait_for(pilot, lambda: "Alerts, worst first" in seat.sees, "the first picture")
        for keys, said, true in LIVE if live else TIME:
            for key in keys.split():
                await pilot.press(key)
            await wait_for(pilot, lambda true=true: true(seat), f"{keys}: {said}")  # type: ignore[misc]
