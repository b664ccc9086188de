"""Faults that take too long for a test or can't be made on this machine, with prepared times: a clock that is set, a week."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from threading import Event

import pytest

from netwatch.packets.batch import Item, PacketBatch, Port
from netwatch.packets.files import open_captures
from netwatch.record.packets_back import hand_on
from netwatch.record.readback import FILE, read, segments, slices
from netwatch.record.stores import PacketStores
from tests.record import week
from tests.record.fed import session
from tests.stories import playing
from tests.stories.playing import NS, START, cut_at, items
from tests.stories.script import mark, stream

BACK, ON = 100, 250
"""Seconds at which the clock is set back by an hour, and on by two."""


def wrong_clock(event: playing.Event) -> playing.Event:
    second = (event.time - START) / NS
    return replace(event, time=event.time + (second >= BACK) * -3600 * NS + (second >= ON) * 7200 * NS)


def evening(stepped: bool) -> Sequence[Item]:
    """Two controllers; one goes silent at 180 s, another is put on at 320 s and goes silent at 340 s."""
    events = [
        *stream(1, "gatehouse desk", hz=20, stop=400, levels=lambda i: bytes([i % 256] * 512)),
        *stream(2, "mill pond", hz=20, stop=180, levels=lambda i: bytes([i % 251] * 512)),
        *stream(3, "orchard", hz=20, start=320, stop=340, levels=lambda i: bytes([i % 253] * 512)),
        *(told for second in range(400) for told in mark(second + 0.5, link=True)),
        *mark(0.2, phase="show"),
    ]
    heard = sorted(events, key=lambda event: event.time)
    told = [wrong_clock(event) if stepped else event for event in heard]
    return list(items(told, (Port("eth0", 1),), cut_at(range(0, len(told), 12))))


def test_a_disk_that_stands_still_costs_no_slice_its_beginning(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """All that waits is taken at once when the disk goes on; what an alert wants kept is told before more is forgotten."""
    goes_on, take = Event(), PacketStores.take

    def late(stores: PacketStores, item: Item) -> None:
        goes_on.wait()
        take(stores, item)

    monkeypatch.setattr(PacketStores, "take", late)
    run = session(evening(False), tmp_path / "session")
    run.player.network.vantage.override = "mirror"
    run.start()
    run.wait(None)
    goes_on.set()
    run.stop()
    back, kept = read(tmp_path / "session" / FILE), slices(tmp_path / "session" / FILE)
    alerts = [each for each in back.snapshot.alerts if each.code == "source-lost"]
    assert len(alerts) == 2
    for each in alerts:
        [mine] = [one for one in kept if f"alert {each.id} (source-lost)" in one.why]
        assert mine.first <= each.since - 15 * NS
        assert mine.last >= each.opened + 15 * NS


@pytest.mark.parametrize("stepped", [True, False], ids=["stepped", "steady"])
def test_a_clock_that_is_set_spoils_nothing_that_is_kept(tmp_path: Path, stepped: bool) -> None:
    """The laptop finds a time server in the middle of the show. What is found is the same as with a steady clock."""
    whole = evening(stepped)
    run = session(whole, tmp_path / "session", capture=1 << 30)
    run.player.network.vantage.override = "mirror"
    run.start()
    run.wait(None)
    run.stop()
    back = read(tmp_path / "session" / FILE)
    said = [line.what for line in back.snapshot.happenings]
    assert (said.count("clock-set-back"), said.count("hole")) == ((1, 1) if stepped else (0, 0))
    alerts = [each for each in back.snapshot.alerts if each.code == "source-lost"]
    assert [each.facts["universes"] for each in alerts] == [[2], [3]]
    assert {each.code for each in back.snapshot.alerts if each.severity in ("now", "soon")} == {"source-lost"}

    kept = slices(tmp_path / "session" / FILE)
    for each in alerts:
        mine = next(one for one in kept if f"alert {each.id} (source-lost)" in one.why)
        assert mine.first <= each.since - 15 * NS
        assert mine.last >= each.opened + 15 * NS
        assert set(each.packets) <= {n for first, rows in mine.runs for n in range(first, first + rows)}
        assert set(each.packets) <= set(back.packets)

    sent = sum(item.rows for item in whole if isinstance(item, PacketBatch))
    capture = open_captures(sorted((tmp_path / "session").glob("capture-*")))
    assert sum(item.rows for item in capture if isinstance(item, PacketBatch)) == sent
    (tmp_path / "handed").mkdir()
    talk = [each for each in segments(tmp_path / "session" / FILE) if each.kind == "talk"]
    handed = hand_on(tmp_path / "session", kept, talk, {}, tmp_path / "handed")
    assert len(handed) == len(kept)


def test_a_week_of_running_in_short(tmp_path: Path) -> None:
    """Six hours with small stores: none is ever larger than it may be, the newest is there, memory stays where it was."""
    if not Path("/proc/self/statm").exists():
        pytest.skip("memory is read as Linux tells it")
    words = [sys.executable, "-m", "tests.record.week", str(tmp_path), "6"]
    done = subprocess.run(words, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    told = json.loads(done.stdout)
    for kind, most in week.MOST.items():
        assert most / 3 < told["largest"][kind] <= most or kind == "talk", told
    third, _, end = told["resident"]
    assert end <= 1.1 * third, told
    assert told["given_up"] == 0
    evening = read(tmp_path / FILE)
    assert [line.what for line in evening.snapshot.happenings].count("word") == 18
    assert evening.snapshot.now - max(each.last for each in slices(tmp_path / FILE)) < 60 * NS
    newest = [item for item in open_captures(sorted(tmp_path.glob("capture-*"))) if isinstance(item, PacketBatch)][-1]
    assert evening.snapshot.now - int(newest.time[-1]) < 60 * NS
    assert any("Taken away to keep the journal within its size" in text for text in evening.recording)
    assert any("No longer there" in text for text in evening.recording)
