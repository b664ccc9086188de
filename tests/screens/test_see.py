"""From what is seen to what is wrong, and from any fact to its evidence and back."""

from __future__ import annotations

import pytest
from screen_helpers import Deeds, Source, alert, app, gone, on_cursor, seen, snapshot, wait_for

from netwatch.screens import see
from netwatch.words.sees import SEES


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("7", ("e131", 7)), (" sACN 12 ", ("e131", 12)), ("universe 3", ("e131", 3)), ("a21", ("artnet", 21)),
        ("0:1:5", ("artnet", 21)),
        ("0.1.5", ("artnet", 21)), ("10.0.0.21", None), ("pond", None), ("", None), ("0:16:0", None), ("128.0.0", None),
    ],
)  # fmt: skip
def test_what_names_a_universe(text: str, found: tuple[str, int] | None) -> None:
    assert see.asked(text) == found


async def test_eight_phrases_then_a_universe_followed_on_its_way() -> None:
    tool = app()
    async with tool.run_test(size=(80, 30)) as pilot:
        await pilot.press("w")
        for text in SEES.values():
            await seen(pilot, text[1:])
        await pilot.press("enter")
        await seen(pilot, "Which universe, sender or box?")
        await pilot.press("7", "enter")
        await seen(pilot, "The switch held it back.")
        await seen(pilot, "Switch: WRONG")
        await pilot.press("enter")
        await seen(pilot, "!! NOW  since 20:01:02")
        await pilot.press("escape")
        await seen(pilot, "The switch held it back.")
        await pilot.press("escape")
        await seen(pilot, "Choose what comes nearest.")


async def test_without_a_name_the_alerts_that_fit_and_none_is_said() -> None:
    source = Source(
        snapshot(alerts=(alert(1, "soon", "No box gives addresses", code="no-dhcp-answer"), alert(2, "now", code="source-lost")))
    )
    tool = app(source)
    async with tool.run_test(size=(80, 30)) as pilot:
        await pilot.press("w", *["down"] * 5, "enter")
        await seen(pilot, "Which universe")
        await pilot.press("enter")
        await seen(pilot, "soon: No box gives addresses")
        await gone(pilot, "Alert number 2")
        source.change(alerts=())
        await seen(pilot, "No alert explains it.")


async def test_a_box_by_its_name() -> None:
    tool = app()
    async with tool.run_test(size=(80, 30)) as pilot:
        await pilot.press("w", "enter")
        await seen(pilot, "Which universe")
        await pilot.press(*"gateh", "enter")
        await seen(pilot, "10.0.0.21, Gatehouse desk, desk-1, 02:00:00:00:00:15")
        await pilot.press("escape", "enter")
        await seen(pilot, "Which universe")
        await pilot.press(*"zzz", "enter")
        await seen(pilot, "No box and no sender is known as 'zzz'.")


async def test_from_an_alert_to_its_packets_field_by_field() -> None:
    source = Source()
    source.packets[12] = bytes.fromhex("ffffffffffff020000000001080600010800060400010200000000010a0000010000000000000a000002")
    tool = app(source)
    async with tool.run_test(size=(80, 40)) as pilot:
        await pilot.press("down", "down", "enter")
        await seen(pilot, "Packets that it rests on")
        await wait_for(pilot, lambda: "number 12" in on_cursor(tool), "the cursor is on the first packet")
        await pilot.press("enter")
        await seen(pilot, "Packet number 12")
        await seen(pilot, "ARP: a question")
        await seen(pilot, "octets 29-32: 0a 00 00 01; RFC 826")
        await pilot.press("escape", "down", "enter")
        await seen(pilot, "The bytes of this packet are no longer at hand.")


async def test_a_new_alert_at_now_stands_above_everything_until_it_is_put_away() -> None:
    source = Source(snapshot(alerts=()))
    tool = app(source, Deeds())
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("3")
        await seen(pilot, "gives addresses")
        source.change(alerts=(alert(1, "now", "Boathouse went silent"),))
        await seen(pilot, "!! NOW  Boathouse went silent   n opens it, Esc puts this away")
        await pilot.press("escape")
        await gone(pilot, "n opens it")
        await seen(pilot, "gives addresses")
        source.change(alerts=(*source.now.alerts, alert(2, "now", "Mill pond went silent"), alert(3, "soon")))
        await seen(pilot, "!! NOW  Mill pond went silent")
        await pilot.press("n")
        await seen(pilot, "Unplug the box that should not give addresses.")
        await gone(pilot, "n opens it")


async def test_slash_narrows_a_list_by_plain_words() -> None:
    tool = app()
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("2", "slash")
        await seen(pilot, "Show only lines with these words")
        await pilot.press(*"POND", "enter")
        await seen(pilot, "Only lines with 'POND' (1); Esc shows all again")
        await gone(pilot, "Lantern walk")
        await pilot.press("escape")
        await seen(pilot, "Lantern walk")


async def test_a_picture_that_stands_still_while_the_watch_goes_on() -> None:
    source = Source()
    tool = app(source, Deeds())
    async with tool.run_test(size=(110, 24)) as pilot:
        await pilot.press("space")
        await seen(pilot, "this picture stands still")
        source.change(packets=99_999)
        pulls = source.pulls
        await pilot.press("2", "1")
        await seen(pilot, "84,213 packets")
        assert source.pulls == pulls
        await pilot.press("space")
        await seen(pilot, "99,999 packets")


async def test_the_list_of_commands_names_what_keys_do() -> None:
    tool = app(deeds=Deeds())
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("ctrl+p")
        await seen(pilot, "Boxes: who has which address")
        await pilot.press(*"runs out")
        await seen(pilot, "Runs out: what ends by itself, and when")
        await pilot.press("down", "enter")
        await seen(pilot, "what ends")
