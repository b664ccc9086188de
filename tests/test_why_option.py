"""netwatch replay --why, --see and --at: what they take, and what they give."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from netwatch.cli import main
from netwatch.commands import asked
from netwatch.exits import Exit
from netwatch.words.sees import SEES
from tests.packets import made
from tests.stories.script import ns, stream


@pytest.fixture(autouse=True)
def zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Five and a half hours east of Greenwich."""
    monkeypatch.setenv("TZ", "XXX-5:30")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def clock(seconds: float) -> str:
    """Local time of a story's second."""
    return time.strftime("%H:%M:%S", time.localtime(ns(seconds) // 1_000_000_000))


@pytest.fixture
def capture(tmp_path: Path) -> str:
    """Universe 7 for a minute: black for half of it."""
    path = tmp_path / "evening.pcap"
    events = stream(7, hz=10, stop=60, levels=lambda i: bytes([255 * (i >= 300)]) * 512)
    path.write_bytes(made.pcap([(event.frame, event.time) for event in events]))
    return str(path)


def test_text_then_and_at_the_end(capture: str, capsys: pytest.CaptureFixture[str]) -> None:
    main(["replay", capture, "--why", "7"])
    assert "Universe 7 is sent 10 times a second, channel 1 at 100 %." in " ".join(capsys.readouterr().out.split())
    main(["replay", capture, "--why", "7", "--see", "dark", "--at", clock(20)])
    told = capsys.readouterr().out
    assert "Universe 7 is sent, and it is black" in told
    assert told.startswith(f"What happens to universe 7: it is dark, at {clock(20)}\n")


def test_json_has_it_as_an_addition(capture: str, capsys: pytest.CaptureFixture[str]) -> None:
    main(["replay", capture, "--why", "7", "--see", "dark", "--at", clock(20), "--json"])
    told = json.loads(capsys.readouterr().out)
    why = told["why"]
    assert (why["protocol"], why["universe"], why["see"]) == ("e131", 7, "dark")
    assert [each["name"] for each in why["stations"]] == ["sender", "switch", "laptop", "node", "behind"]
    # Up to that moment and no further: the 200 or so packets of 20 s at 10 Hz.
    assert 190 <= told["capture"]["packets"] <= 200
    assert why["at"] <= ns(20) / 1e9
    main(["replay", capture, "--json"])
    assert "why" not in json.loads(capsys.readouterr().out)


def test_the_demo_evening(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Hollowbrook Garden: a drop in the first evening, a visitor's desk in the long one (see captures/README.md)."""
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    captures = Path(__file__).resolve().parent.parent / "captures"
    main(["replay", str(captures / "01-first-evening.pcapng.gz"), "--why", "3", "--see", "dark", "--at", "14:02:40"])
    told = capsys.readouterr().out
    assert "Look at the switch: Multicast dropped" in told
    assert "! WRONG      Sender" not in told
    main(["replay", str(captures / "02-a-long-evening.pcapng.gz"), "--why", "2", "--see", "fights", "--at", "14:09:30"])
    assert "Look at the sender: gatehouse desk and visitor desk fight over universe 2" in capsys.readouterr().out


@pytest.mark.parametrize(
    "options",
    [
        ["--why", "x"], ["--why", ""], ["--why", "7/1-3"], ["--why", "0.16.0"], ["--why", "64000"],
        ["--why", "7", "--see", "odd"], ["--why", "7", "--at", "25:00"],
        ["--why", "7", "--at", "9"], ["--why", "7", "--at", "00:00"], ["--see", "dark"],
        ["--at", "21:40"], ["--why", "7", "--levels", "7"],
    ],
)  # fmt: skip
def test_what_is_wrong_is_one_sentence(capture: str, capsys: pytest.CaptureFixture[str], options: list[str]) -> None:
    assert main(["replay", capture, *options]) == Exit.USAGE
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("netwatch: ")
    assert said.err.count("\n") == 1


def test_time_of_day_goes_on_past_midnight() -> None:
    first = int(time.mktime((2026, 11, 25, 23, 50, 0, 0, 0, 0)))
    assert asked.moment((0, 10, 5), first * asked.NS) == (first + 20 * 60 + 5) * asked.NS
    assert asked.moment((23, 50, 0), first * asked.NS) == first * asked.NS


def test_the_help_names_the_phrases_of_the_words() -> None:
    assert tuple(SEES) == asked.SEES
