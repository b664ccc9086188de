"""What is drawn, when, and on terminals of several sizes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from screen_helpers import NAMES, Deeds, Source, alert, app, gone, on_cursor, picture, seen, snapshot, stream, wait_for

from netwatch.screens.app import NetwatchApp
from netwatch.screens.lines import Lines
from netwatch.story.snapshot import nothing

SIZES = [(40, 12), (60, 24), (80, 24), (140, 40)]


async def test_nothing_is_drawn_while_the_revision_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    source = Source()
    tool = app(source)
    async with tool.run_test(size=(80, 24)) as pilot:
        await seen(pilot, "Alerts, worst first")
        await seen(pilot, "q Quit")
        painted: list[Any] = []
        display = NetwatchApp._display

        def counted(self: NetwatchApp, screen: Any, renderable: Any) -> None:
            painted.append(renderable)
            display(self, screen, renderable)

        monkeypatch.setattr(NetwatchApp, "_display", counted)
        for _ in range(5):  # what the start still has to paint on a busy machine
            painted.clear()
            pulls = source.pulls
            await wait_for(pilot, lambda pulls=pulls: source.pulls >= pulls + 4, "four pulls")  # type: ignore[misc]
            if not painted:
                break
        source.now = replace(source.now, packets=99_999)
        painted.clear()
        pulls = source.pulls
        await wait_for(pilot, lambda: source.pulls >= pulls + 4, "four more pulls")
        assert painted == []
        assert "84,213 packets" in picture(tool)
        source.change()
        await seen(pilot, "99,999 packets")
        await wait_for(pilot, lambda: bool(painted), "it is painted")


async def test_an_alert_that_comes_does_not_move_the_one_that_is_read() -> None:
    source = Source(snapshot(alerts=tuple(alert(n, "soon") for n in range(2, 12))))
    tool = app(source)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("end", *["up"] * 6)
        await wait_for(pilot, lambda: "Alert number 5" in on_cursor(tool), "the cursor is on alert 5")
        before = picture(tool).split("\n").index(on_cursor(tool))
        source.change(alerts=(alert(1, "now", "Boathouse went silent"), *source.now.alerts))
        await seen(pilot, "!! 1 now")
        assert picture(tool).split("\n")[before] == on_cursor(tool)
        assert "Alert number 5" in on_cursor(tool)


async def test_forty_alerts_can_all_be_reached() -> None:
    ranks = ("now", "soon", "quality", "tidy", "note")
    source = Source(snapshot(alerts=tuple(alert(n, ranks[n % 5]) for n in range(1, 41))))
    tool = app(source)
    async with tool.run_test(size=(80, 24)) as pilot:
        await seen(pilot, "!! 8 now  ! 8 soon  ~ 8 quality  - 8 tidy  . 8 note")
        await pilot.press("end")
        await wait_for(pilot, lambda: "Alert number 39" in on_cursor(tool), "the cursor is on the last note")
        told = {row.key for row in tool.query_one("#list", Lines).rows}
        assert {("alert", n) for n in range(1, 41)} <= told


@pytest.mark.parametrize("size", SIZES, ids=str)
async def test_every_size_shows_trust_checks_and_keys(size: tuple[int, int]) -> None:
    tool = app(deeds=Deeds())
    async with tool.run_test(size=size) as pilot:
        await seen(pilot, "On eth0, ordinary port")
        await seen(pilot, {40: "none dropped", 60: "84,213 packets"}.get(size[0], "84,213 packets"))
        await seen(pilot, "!! 2 now")
        await seen(pilot, "? Help")
        await seen(pilot, "FINE")
        await pilot.press("2", "3", "question_mark", "escape", "1", "down", "down", "enter")
        await seen(pilot, "!! NOW  since 20:01:01")


@pytest.mark.parametrize("size", [(80, 24), (140, 40)], ids=str)
async def test_the_first_screen_is_complete(size: tuple[int, int]) -> None:
    tool = app(deeds=Deeds())
    async with tool.run_test(size=size) as pilot:
        await seen(pilot, "q Quit")
        told = picture(tool)
        assert all(name in told for name in NAMES)
        assert "20:12:40 · 84,213 packets in 12 min 40 s · none dropped · phase building" in told
        assert "First: Find the box" in told
        assert all(
            word in told for word in ("1 First", "2 Light", "3 Boxes", "4 Runs out", "5 Evening", "w See?", "m Mark", "q Quit")
        )


async def test_resizing_never_crashes() -> None:
    source = Source()
    tool = app(source, Deeds())
    async with tool.run_test(size=(80, 24)) as pilot:
        for key in ("1", "2", "question_mark", "m"):
            await pilot.press(key)
            for size in [(140, 40), (40, 12), (1, 1), (3, 30)]:
                await pilot.resize_terminal(*size)
                source.change()
                tool.renew()
                await pilot.pause()
        await pilot.press("escape", "1")
        await pilot.resize_terminal(80, 24)
        await seen(pilot, "Alerts, worst first (8). Enter opens one")


async def test_a_line_of_doubt_comes_and_goes() -> None:
    source = Source()
    tool = app(source)
    async with tool.run_test(size=(80, 24)) as pilot:
        await seen(pilot, "84,213 packets")
        source.change(
            alerts=(*source.now.alerts, alert(9, "soon", code="capture-dropping", facts={"dropped": 12}, about_laptop=True))
        )
        await seen(pilot, "! Not to be trusted: 12 packets missed")
        await wait_for(pilot, lambda: "FINE" in picture(tool).split("\n")[4], "the checks moved down by one line")
        source.change(alerts=source.now.alerts[:-1])
        await gone(pilot, "Not to be trusted")
        await wait_for(pilot, lambda: "FINE" in picture(tool).split("\n")[3], "and up again")


async def test_nothing_heard_yet() -> None:
    bare = snapshot(alerts=(), checks=(), streams=(), hosts=(), servers=(), listening=(), first=None, last=None, packets=0)
    tool = app(Source(bare))
    async with tool.run_test(size=(80, 24)) as pilot:
        await seen(pilot, "No alert so far")
        await pilot.press("enter", "down", "2")
        await seen(pilot, "Nobody has sent light so far.")
        await pilot.press("enter", "3")
        await seen(pilot, "No box has been heard so far.")


async def test_a_large_rig_draws_only_what_is_seen() -> None:
    many = tuple(stream(n, source=f"{n:032x}") for n in range(1, 2001))
    tool = app(Source(snapshot(streams=many)))
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("2", "end")
        await seen(pilot, "> sACN 2000")
        await pilot.press("enter")
        await seen(pilot, "sACN 2000 from Gatehouse desk")


async def test_while_a_capture_is_read_its_picture_fills_and_no_key_of_time_does_anything() -> None:
    source = Source(nothing())
    source.reading = "45 %"
    tool = app(source)
    async with tool.run_test(size=(80, 24)) as pilot:
        await seen(pilot, "reading the capture, 45 %")
        await wait_for(pilot, lambda: source.begun, "it may begin once the frame stands")
        await pilot.press("space", "full_stop", "2", "3", "1", "enter")
        source.now = replace(snapshot(live=False), revision=7)
        await seen(pilot, "!! 2 now")
        assert "n opens it" not in picture(tool)
        source.reading = ""
        source.now = replace(source.now, revision=8)
        await gone(pilot, "reading the capture")
        assert "FINE" in on_cursor(tool)
