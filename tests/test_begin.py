"""Started with nothing: what there is is offered."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "screens"))
from screen_helpers import gone, on_cursor, picture, seen, wait_for

from netwatch.commands.begin import EVENING, Ear, captures
from netwatch.packets.choose import Choice
from netwatch.screens.offer import Offer, OfferApp, Section
from netwatch.words import offer as words

SECTIONS = (
    Section(words.LISTEN, (Offer(("listen", "eth0"), "eth0", "wired"), Offer(None, "", "This user may not read frames."))),
    Section(words.CAPTURES, (Offer(("replay", "a.pcap"), "a.pcap", "12 bytes"),)),
    Section(words.TRY, (Offer(("replay", "evening"), words.EVENING, words.EVENING_TOLD),)),
)


@pytest.mark.parametrize("size", [(40, 12), (80, 24), (140, 40)])
async def test_the_cursor_stands_on_what_can_be_begun_and_enter_begins(size: tuple[int, int]) -> None:
    tool = OfferApp(lambda: SECTIONS)
    async with tool.run_test(size=size) as pilot:
        await wait_for(pilot, lambda: "eth0" in on_cursor(tool), "the cursor is on the first connection")
        await pilot.press("down")
        await wait_for(pilot, lambda: "a.pcap" in on_cursor(tool), "what is only told is passed over")
        await pilot.press("down")
        await wait_for(pilot, lambda: "Hollowbrook" in on_cursor(tool), "the evening is offered")
        await pilot.press("enter")
        await wait_for(pilot, lambda: tool._exit, "it ends")
    assert tool.return_value == ("replay", "evening")


@pytest.mark.parametrize("key", ["q", "escape", "ctrl+c"])
async def test_leaving_chooses_nothing(key: str) -> None:
    tool = OfferApp(lambda: SECTIONS)
    async with tool.run_test(size=(80, 24)) as pilot:
        await seen(pilot, "This user may not read frames.")
        await pilot.press(key)
        await wait_for(pilot, lambda: tool._exit, "it ends")
    assert tool.return_value is None


async def test_what_is_heard_comes_in_while_one_looks() -> None:
    told = ["listening for a moment ..."]
    tool = OfferApp(lambda: (Section(words.LISTEN, (Offer(("listen", "eth0"), "eth0", told[0]),)),))
    async with tool.run_test(size=(80, 24)) as pilot:
        await seen(pilot, "listening for a moment")
        told[0] = words.heard({"light": 1_320, "ARP": 4, "DHCP": 0}, 3.0)
        await seen(pilot, "heard in 3 s: 1,320 light and 4 ARP")
        await gone(pilot, "listening for a moment")
        assert picture(tool).count("eth0") == 1


def test_captures_newest_first(tmp_path: Path) -> None:
    for age, name in enumerate(("new.pcapng", "old.pcap.gz", "notes.txt", "older.cap")):
        (tmp_path / name).write_bytes(b"x")
        os.utime(tmp_path / name, (1_000_000 - age, 1_000_000 - age))
    (tmp_path / "folder.pcap").mkdir()
    assert [each.name for each in captures(tmp_path)] == ["new.pcapng", "old.pcap.gz", "older.cap"]
    assert captures(tmp_path / "missing") == []


def test_each_connection_is_told_by_what_is_heard_on_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("netwatch.packets.rights.cannot_listen", lambda: "This user may not read frames: start this with sudo.")
    ear = Ear()
    told = [each.text for section in ear.sections() for each in section.offers]
    assert "This user may not read frames: start this with sudo." in told
    assert any(words.LIMITED in each for each in told if "DHCP" not in each) == bool(ear._names)
    ear._cannot, ear._choice = None, Choice("x", "why", {name: {"light": 7} for name in ear._names})
    assert all("7 light" in each.text for each in ear.sections()[0].offers if each.key is not None)
    assert EVENING.exists()


def test_recorded_sessions_are_offered_newest_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    for kind, name, age in (("sessions", "old", 900), ("guard", "newer", 100), ("sessions", "runs", 0)):
        folder = tmp_path / "netwatch" / kind / name
        folder.mkdir(parents=True)
        (folder / "journal.sqlite").write_bytes(bytes(1234))
        os.utime(folder / "journal.sqlite", (time.time() - age, time.time() - age))
    (tmp_path / "netwatch" / "guard" / "no journal").mkdir()
    monkeypatch.setattr("netwatch.packets.rights.cannot_listen", lambda: "This user may not read frames.")
    (found,) = [each for each in Ear().sections() if each.title == words.SESSIONS]
    assert [(each.key, each.name) for each in found.offers] == [
        (("open", str(tmp_path / "netwatch" / kind / name)), name)
        for kind, name in (("sessions", "runs"), ("guard", "newer"), ("sessions", "old"))
    ]
    assert ["still being recorded" in each.text for each in found.offers] == [True, False, False]
