"""Keys that change what is seen."""

from __future__ import annotations

from dataclasses import replace

import pytest
from screen_helpers import Deeds, Source, app, at, gone, on_cursor, seen, wait_for

from netwatch.screens.deeds import INTERRUPTED


async def test_keys_1_2_3_show_the_views() -> None:
    tool = app(deeds=Deeds())
    async with tool.run_test(size=(80, 24)) as pilot:
        await seen(pilot, "Alerts, worst first (8). Enter opens one")
        await pilot.press("2")
        await seen(pilot, "sent by")
        await seen(pilot, "Orchard backup")
        await pilot.press("3")
        await seen(pilot, "gives addresses")
        await pilot.press("1")
        await seen(pilot, "Alerts, worst first (8). Enter opens one")


async def test_arrows_enter_and_escape_on_an_alert() -> None:
    tool = app()
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press(*["down"] * 12, "up")
        await wait_for(pilot, lambda: "Two DHCP servers seen" in on_cursor(tool), "the cursor is on the first alert")
        await pilot.press("enter")
        await seen(pilot, "What to do, in this order")
        await seen(pilot, "Disturbs: Boxes that got an address from it")
        await pilot.press("escape")
        await wait_for(pilot, lambda: "Two DHCP servers seen" in on_cursor(tool), "back, cursor where it was")


async def test_enter_on_a_wrong_check_opens_its_alert_and_on_others_the_whole_sentence() -> None:
    tool = app()
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("down", "down", "enter")
        await seen(pilot, "!! NOW  since 20:01:01, still true")
        await pilot.press("escape", *["down"] * 5, "enter")
        await seen(pilot, "plug into a mirror port to see queries and answers of others")


@pytest.mark.parametrize(("view", "heading"), [("2", "Art-Net 0:7:15 from Gatehouse desk"), ("3", "10.0.0.1")])
async def test_enter_and_escape_in_the_lists(view: str, heading: str) -> None:
    tool = app()
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press(view, "enter")
        await seen(pilot, heading)
        await seen(pilot, "Esc Back")
        await pilot.press("escape")
        await wait_for(pilot, lambda: on_cursor(tool) != "", "back in the list")
        await pilot.press("escape")
        await seen(pilot, "Alerts, worst first")


async def test_a_page_follows_its_alert_and_keeps_it_when_it_is_gone() -> None:
    source = Source()
    tool = app(source)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("down", "down", "enter")
        await seen(pilot, "still true")
        source.change(alerts=(replace(source.now.alerts[0], closed=at(770)),))
        await seen(pilot, "over since 20:12:50")
        source.change(alerts=())
        await seen(pilot, "No alert is open")
        await seen(pilot, "over since 20:12:50")


@pytest.mark.parametrize("view", ["1", "2", "3"])
async def test_help_in_place(view: str) -> None:
    titles = {"1": "Checks and alerts", "2": "Who sends what", "3": "Which box has which address"}
    tool = app()
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press(view, "question_mark")
        await seen(pilot, f"Help: {titles[view]}")
        await pilot.press("pagedown", "pagedown", "pagedown")
        await seen(pilot, "q       quit")
        await pilot.press("escape")
        await gone(pilot, "Help: ")


async def test_t_changes_the_look() -> None:
    tool = app()
    async with tool.run_test(size=(80, 24)) as pilot:
        for look in ("night", "sun", "dark"):
            await pilot.press("t")
            await wait_for(pilot, lambda look=look: tool.look.name == look, f"the look is {look}")  # type: ignore[misc]
            assert tool.screen.styles.background.hex.lower().startswith(tool.look.ground)


async def test_q_quits() -> None:
    tool = app()
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("q")
        await wait_for(pilot, lambda: not tool.is_running or tool._exit, "the app ends")
    assert tool.return_code == 0


@pytest.mark.parametrize("before", [(), ("m",)])
async def test_control_c_interrupts_even_while_something_is_asked(before: tuple[str, ...]) -> None:
    tool = app(deeds=Deeds())
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press(*before)
        if before:
            await seen(pilot, "Mark this moment")
        await pilot.press("ctrl+c")
        await wait_for(pilot, lambda: tool._exit, "the app ends")
    assert tool.return_code == INTERRUPTED
