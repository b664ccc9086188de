"""Keys that do something outside the screen: what they ask first, and what they do then."""

from __future__ import annotations

import time

import pytest
from screen_helpers import Deeds, Source, alert, app, at, gone, picture, seen, snapshot, wait_for

from netwatch.screens import band
from netwatch.screens.app import NetwatchApp
from netwatch.screens.lines import Lines
from netwatch.screens.looks import DARK
from netwatch.story.snapshot import QuerierView

QUERIER = QuerierView("eth0", None, "10.0.0.1", 2, 5, 125.0, at(700))


async def test_join_asks_says_what_it_does_and_wants_two_yeses_until_a_query_was_heard() -> None:
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("J")
        await seen(pilot, "Join which universes?")
        await pilot.press("7", "enter")
        await seen(pilot, "Joins universes 7: 2 Mbit/s more")
        await pilot.press("y", "e", "s", "enter")
        await seen(pilot, "Type yes again")
        assert deeds.done == []
        await pilot.press("y", "e", "s", "enter")
        await seen(pilot, "Joined universes 7.")
    assert deeds.done == [("join", "7")]


async def test_once_a_query_was_heard_one_yes_is_enough() -> None:
    deeds = Deeds()
    tool = app(Source(snapshot(queriers=(QUERIER,))), deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", "7", "enter")
        await seen(pilot, "Joins universes 7")
        await pilot.press("y", "enter")
        await seen(pilot, "Joined universes 7.")
    assert deeds.done == [("join", "7")]


@pytest.mark.parametrize(
    "keys",
    [
        ("J", "7", "enter", "n", "o", "enter"),
        ("J", "7", "enter", "enter"),
        ("J", "7", "enter", "escape"),
        ("J", "7", "enter", "y", "enter", "n", "enter"),
        ("J", "7", "enter", "y", "enter", "escape"),
    ],
)
async def test_without_every_yes_nothing_is_sent(keys: tuple[str, ...]) -> None:
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press(*keys)
        await seen(pilot, "Nothing was sent.")
    assert deeds.done == []


@pytest.mark.parametrize("keys", [("J", "escape"), ("J", "enter")])
async def test_join_left_at_once(keys: tuple[str, ...]) -> None:
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press(*keys)
        await gone(pilot, "Join which universes?")
        await wait_for(pilot, lambda: isinstance(tool.focused, Lines), "the list has the keys again")
    assert deeds.done == []


async def test_a_refused_join_says_why() -> None:
    tool = app(deeds=Deeds())
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", "0", "enter")
        await seen(pilot, "0 is no universe: sACN has 1 to 63999.")


async def test_mark_takes_a_word_or_none() -> None:
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("m", "u", "p", "enter")
        await seen(pilot, "Marked: up")
        await pilot.press("m", "enter")
        await seen(pilot, "Marked: mark")
        await pilot.press("m", "escape")
        await gone(pilot, "Mark this moment")
    assert deeds.done == [("mark", "up"), ("mark", "mark")]


async def test_a_mark_is_stamped_when_the_key_is_pressed() -> None:
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("m")
        await seen(pilot, "Mark this moment")
        typed = time.time_ns()
        await pilot.press("u", "p", "enter")
        await seen(pilot, "Marked: up")
    assert deeds.times[0] <= typed


@pytest.mark.parametrize(("said", "span"), [("today", "today"), ("t", "today"), ("job", "job"), (" Job ", "job")])
async def test_known_of_the_alert_that_is_open(said: str, span: str) -> None:
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        tool.open(("alert", 4))
        await seen(pilot, "a Known")
        await pilot.press("a")
        await seen(pilot, "Known, leave it: 1.2 % of universe 3")
        await pilot.press(*(key if key != " " else "space" for key in said), "enter")
        await seen(pilot, "Why? A word for the report.")
        await pilot.press("o", "l", "d", "enter")
        await seen(pilot, "It comes back if it gets worse.")
    assert deeds.done == [(span, "4 old")]


@pytest.mark.parametrize(
    "keys", [("a", "escape"), ("a", "n", "o", "enter"), ("a", "enter"), ("a", "j", "o", "b", "enter", "escape")]
)
async def test_known_left_halfway_changes_nothing(keys: tuple[str, ...]) -> None:
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        tool.open(("alert", 4))
        await pilot.press(*keys)
        await seen(pilot, "Nothing was changed")
    assert deeds.done == []


async def test_known_of_a_known_one_takes_it_back() -> None:
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        tool.open(("alert", 7))
        await pilot.press("a")
        await seen(pilot, "This is known: spare box.")
        await pilot.press("y", "enter")
        await seen(pilot, "It is no longer known.")
    assert deeds.done == [("heed", "7")]


async def test_mended_after_yes() -> None:
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        tool.open(("alert", 4))
        await pilot.press("x")
        await seen(pilot, "Mended: 1.2 % of universe 3")
        await pilot.press("n", "enter")
        await gone(pilot, "Mended: 1.2 %")
        await pilot.press("x", "y", "enter")
        await seen(pilot, "Mended: closed, and watched on.")
    assert deeds.done == [("mended", "4")]


async def test_known_and_mended_mean_the_line_with_the_cursor() -> None:
    """A check that is wrong stands for its alert; another one for none."""
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("x")
        await seen(pilot, "Put the cursor on an alert, or open one")
        await pilot.press("down", "down", "x")
        await seen(pilot, "Mended: Two DHCP servers seen")
        await pilot.press("y", "enter")
        await seen(pilot, "Mended: closed")
    assert deeds.done == [("mended", "1")]


async def test_what_is_over_can_be_neither_known_nor_mended() -> None:
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        tool.open(("alert", 8))
        await pilot.press("a")
        await seen(pilot, "This alert is over.")
    assert deeds.done == []


async def test_a_sound_once_a_cause_and_only_where_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    rung: list[bool] = []
    monkeypatch.setattr("netwatch.screens.app.NetwatchApp.bell", lambda self: rung.append(True))
    for sound, times in (("always", 1), ("building", 1), ("show", 0), ("never", 0)):
        rung.clear()
        source = Source(snapshot(alerts=()))
        tool = NetwatchApp(source, actions=Deeds(), sound=sound)
        async with tool.run_test(size=(80, 24)) as pilot:
            source.change(alerts=(alert(1, "now", "Fight"),))
            await seen(pilot, "Fight")
            source.change(alerts=(alert(1, "now", "Fight again"),))
            await seen(pilot, "Fight again")
        assert len(rung) == times


async def test_phase_is_changed_after_yes() -> None:
    deeds = Deeds()
    source = Source()
    tool = app(source, deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("p")
        await seen(pilot, "to change to show.")
        await pilot.press("y", "enter")
        await seen(pilot, "The phase is show.")
        source.change(phase="show")
        await seen(pilot, "phase show")
        await pilot.press("p")
        await seen(pilot, "to change to building.")
        await pilot.press("n", "enter")
        await gone(pilot, "to change to")
    assert deeds.done == [("phase", "show")]


async def test_a_deed_that_cannot_be_done_says_why() -> None:
    class Full(Deeds):
        def mark(self, word: str, at: int) -> None:
            raise ValueError("The disk is full: nothing was marked.")

    tool = app(deeds=Full())
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("m", "enter")
        await seen(pilot, "The disk is full: nothing was marked.")


async def test_in_replay_keys_that_act_are_hidden_and_dead() -> None:
    tool = app(Source(snapshot(live=False)))
    async with tool.run_test(size=(80, 24)) as pilot:
        await seen(pilot, "Capture of eth0")
        await seen(pilot, "q Quit")
        assert not any(word in picture(tool) for word in ("J Join", "m Mark", "p Phase"))
        await pilot.press("J", "m", "p", "2")
        await seen(pilot, "sent by")
        assert "?" not in picture(tool).split("\n")[-2]
        assert isinstance(tool.focused, Lines)


async def test_one_question_at_a_time() -> None:
    deeds = Deeds()
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("m")
        await seen(pilot, "Mark this moment")
        await pilot.click(Lines)
        await pilot.press("J")
        await seen(pilot, "Mark this moment")
        assert "Join which" not in picture(tool)
        await pilot.press("x", "enter")
        await seen(pilot, "Marked: x")
    assert deeds.done == [("mark", "x")]


async def test_letters_typed_into_a_question_are_not_keys() -> None:
    tool = app(deeds=Deeds())
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("m", "q", "2", "J", "question_mark")
        await seen(pilot, "q2J?")
        await seen(pilot, "Alerts, worst first")


async def test_quitting_asks_first_where_it_disturbs_something() -> None:
    deeds = Deeds()
    deeds.quitting = "Leaving universe 7 in the show may darken it."
    tool = app(deeds=deeds)
    async with tool.run_test(size=(80, 24)) as pilot:
        await pilot.press("q")
        await seen(pilot, "Leaving universe 7 in the show")
        await pilot.press("n", "o", "enter")
        await gone(pilot, "Leaving universe 7 in the show")
        assert tool.is_running
        await pilot.press("q")
        await seen(pilot, "Type yes to quit")
        await pilot.press("y", "e", "s", "enter")
        await wait_for(pilot, lambda: not tool.is_running or tool._exit, "the app ends")


def test_the_band_tells_a_long_title_in_two_lines_with_its_keys() -> None:
    title = "Two DHCP servers seen: 192.168.77.1 and 10.77.0.2 both hand out addresses"
    told = [line.plain for line in band.lines(alert(1, "now", title), 1, 80, DARK)]
    assert told[0].rstrip() == "!! NOW  Two DHCP servers seen: 192.168.77.1 and 10.77.0.2 both hand out"
    assert told[1].startswith("addresses ")
    assert told[1].endswith(band.KEYS)
    assert [len(line) for line in told] == [78, 78]
    longer = band.lines(alert(1, "now", title * 2), 3, 80, DARK)
    assert [line.cell_len for line in longer] == [78, 78]
    assert longer[1].plain.endswith(band.KEYS)
