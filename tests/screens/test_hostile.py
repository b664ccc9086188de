"""Names that a stranger chose: markup, terminal escapes, other scripts. They are shown as text, in every view."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, TypeVar

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rich.text import Text
from screen_helpers import Deeds, Source, alert, app, host, picture, snapshot, stream, wait_for
from textual.geometry import Size

from netwatch.screens import boxes, evening, first, light
from netwatch.screens.boxes import host_key
from netwatch.screens.light import stream_key
from netwatch.screens.looks import DARK
from netwatch.screens.pages import page
from netwatch.screens.trust import trust
from netwatch.story.snapshot import Check, Listening, Snapshot

NASTY = (
    "[/nope]",
    "[@click=app.quit]x[/]",
    "[red]red[/red]",
    "\x1b[2J\x1b]0;owned\x07",
    "a\nb\rc\td",
    "\x9b31m",
    "\u202egnp.exe",
    "$primary {style}",
    "庭園の灯り" * 9,
    "x" * 400,
    "",
)
Made = TypeVar("Made")


def poisoned(made: Made, name: str) -> Made:
    """The same with every text field that a stranger may fill replaced."""
    fill: dict[str, Any] = {
        f.name: name
        for f in fields(made)
        if f.name in ("title", "first_step", "name", "vendor", "text", "address", "subject")  # type: ignore[arg-type]
    }
    if hasattr(made, "names"):
        fill["names"] = ((name, name), (name, name))
    if hasattr(made, "steps"):
        fill |= {"steps": ((name, name),), "facts": {name: [name, {name: name}]}, "accepted": {"why": name}}
    return replace(made, **fill)  # type: ignore[type-var]


def evil(name: str) -> Snapshot:
    """A snapshot in which every name is this one."""
    return snapshot(
        listening=(Listening(name, "unknown", (name,), "wired", "", (), 0, 0),),
        alerts=(poisoned(alert(1, "now", under=(2,), about_laptop=True), name), poisoned(alert(2, over=1), name)),
        checks=(Check("One DHCP server", "WRONG", name, 1), Check("As planned", "NOT YET", name)),
        streams=(poisoned(stream(1), name),),
        hosts=(poisoned(host(5), name),),
    )


def everything(moment: Snapshot, size: Size) -> list[Text]:
    """Each line of each view and page."""
    rows = [*first.rows(moment, size, DARK), *light.rows(moment, size, DARK), *boxes.rows(moment, size, DARK)]
    rows += evening.rows(moment, size, DARK)
    keys = [("alert", 1), ("alert", 2), ("check", "As planned"), *map(stream_key, moment.streams), *map(host_key, moment.hosts)]
    lines = trust(moment, size.width, DARK)
    for key in keys:
        shown = page(key, moment, DARK)
        assert shown is not None
        lines.append(shown.head(size.width))
        rows += shown.rows(size)
    return lines + [text for row in rows for text in row.draw()]


@given(st.one_of(st.sampled_from(NASTY), st.text(max_size=60)), st.sampled_from([37, 77, 137]))
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_name_is_plain_text_in_every_view(name: str, width: int) -> None:
    for text in everything(evil(name), Size(width, 20)):
        for line in text.plain.split("\n"):
            assert line.isprintable(), line
        assert all(line.cell_len <= width for line in text.split("\n")), text


@pytest.mark.parametrize("name", NASTY, ids=range(len(NASTY)))
async def test_hostile_names_on_the_screen(name: str) -> None:
    """In the app itself: no crash, no link, no style of the stranger's, and markup is seen as it was sent."""
    tool = app(Source(evil(name)), Deeds())
    async with tool.run_test(size=(80, 24)) as pilot:
        for keys, what in (((), "checks fine"), (("enter",), "Esc Back"), (("2",), "sent by"), (("3",), "address from")):
            await pilot.press(*keys)
            await wait_for(pilot, lambda what=what: what in picture(tool), f"{what} is seen")  # type: ignore[misc]
            for strip in tool.screen._compositor.render_strips():
                assert strip.text.isprintable()
                for segment in strip:
                    assert not (segment.style and (segment.style.link or "app.quit" in str(segment.style.meta))), segment
        if name.isprintable() and 0 < len(name) < 15:
            await pilot.press("2")
            await wait_for(pilot, lambda: name in picture(tool), "the name is seen as it was sent")
    assert not tool._exit


async def test_what_an_action_answers_and_what_is_typed_is_plain_text_too() -> None:
    class Odd(Deeds):
        def before_join(self, universes: str) -> str:
            return f"[red]{universes}[/nope] \x1b[2J"

    tool = app(deeds=Odd())
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", "left_square_bracket", "b", "right_square_bracket", "enter")
        await wait_for(pilot, lambda: "[red][b][/nope] \ufffd[2J" in picture(tool), "the sentence is seen as it is")
