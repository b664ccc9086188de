"""``netwatch open``: a journal on the screens and as text, finished or while it is being written; the rest is our own."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from netwatch.commands.opened import QUIET_S, Opened
from netwatch.packets.batch import Item, PacketBatch
from netwatch.packets.files import open_captures
from netwatch.words import record as words
from tests.record.fed import session, until
from tests.test_cli import netwatch, sentence

DEMO = Path(__file__).resolve().parent.parent / "captures" / "01-first-evening.pcapng.gz"


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a session that played the demo."""
    folder = tmp_path_factory.mktemp("sessions") / "night"
    run = session(open_captures([DEMO]), folder)
    run.start()
    run.wait(None)
    run.stop()
    return folder


def sums(folder: Path) -> dict[str, str]:
    return {each.name: hashlib.sha256(each.read_bytes()).hexdigest() for each in sorted(folder.iterdir())}


def test_as_text_it_tells_what_a_replay_tells(finished: Path, tmp_path: Path) -> None:
    before = sums(finished)
    done, replayed = (netwatch(tmp_path, verb, what, "--json") for verb, what in (("open", finished), ("replay", DEMO)))
    found, wanted = json.loads(done.stdout), json.loads(replayed.stdout)
    assert done.returncode == replayed.returncode == 1
    for key in ("streams", "hosts", "dhcp_servers", "queriers", "checks"):
        assert found[key] == wanted[key]
    assert [{**each, "bytes": None} for each in found["alerts"]] == [{**each, "bytes": None} for each in wanted["alerts"]]
    assert any(each["bytes"] for each in found["alerts"])
    assert "Two DHCP servers" in netwatch(tmp_path, "open", finished).stdout.decode()
    assert sums(finished) == before, "nothing is written"


def test_a_session_that_was_ended_by_force_is_told(finished: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(finished, tmp_path / "killed")
    with sqlite3.connect(folder / "journal.sqlite") as database:
        database.execute("DELETE FROM fact WHERE name = 'ended'")
    database.close()
    assert words.NO_END in netwatch(tmp_path, "open", folder).stderr.decode()
    old = time.time() - 10 * QUIET_S
    os.utime(folder / "journal.sqlite", (old, old))
    assert "may have been ended by force" in Opened(folder / "journal.sqlite").note


@pytest.mark.parametrize(("what", "why"), [("gone", "there is no journal"), ("letter.sqlite", "is no journal of netwatch")])
def test_bad_input_is_one_sentence(tmp_path: Path, what: str, why: str) -> None:
    (tmp_path / "letter.sqlite").write_text("Dear all, this is a long letter. " * 100)
    done = netwatch(tmp_path, "open", what)
    assert done.returncode == 3
    assert why in sentence(done)


def test_without_a_name_it_takes_the_newest(finished: Path, tmp_path: Path) -> None:
    assert "No session was recorded" in sentence(netwatch(tmp_path, "open"))
    own = tmp_path / "state" / "netwatch"
    for kind, name, age in (("sessions", "old", 500), ("guard", "new", 100), ("sessions", "older", 900)):
        folder = shutil.copytree(finished, own / kind / name)
        for each in folder.iterdir():
            os.utime(each, (time.time() - age, time.time() - age))
    done = netwatch(tmp_path, "open", "--json")
    assert str(own / "guard" / "new") in done.stderr.decode()
    assert json.loads(done.stdout)["alerts"]


def test_a_folder_of_sessions_is_told_apart_from_one(finished: Path, tmp_path: Path) -> None:
    for verb in (["open"], ["report"], ["compare", finished]):
        text = sentence(netwatch(tmp_path, *verb, finished.parent))
        assert "holds 1 session, and is none itself" in text
        assert str(finished) in text


# ---- while it is written ----


class Gate:
    """Hands half of the demo over, then waits until it is told to go on."""

    def __init__(self) -> None:
        self.go = threading.Event()

    def __iter__(self) -> Iterator[Item]:
        given = 0
        for item in open_captures([DEMO]):
            for low in range(0, item.rows if isinstance(item, PacketBatch) else 0, 100):
                if given >= 1500:
                    assert self.go.wait(60)
                assert isinstance(item, PacketBatch)
                part = item.part(low, min(low + 100, item.rows))
                given += part.rows
                yield part


def test_it_follows_a_watch_and_does_not_disturb_it(tmp_path: Path) -> None:
    gate = Gate()
    run = session(gate, tmp_path / "now", rows=100)
    run.start()
    journal = tmp_path / "now" / "journal.sqlite"
    until(lambda: run.recorder is not None and run.recorder.committed >= len(run.happenings(0)) > 0)
    source = Opened(journal)
    source.start()
    try:
        until(lambda: source.snapshot().packets >= 1500)
        assert (source.note, source.snapshot().live, source.tape) == (words.JOURNAL_RUNS, True, None)
        early = source.snapshot()
        gate.go.set()
        run.wait(None)
        run.stop()
        until(lambda: source.note == words.JOURNAL_ENDED)
        late = source.snapshot()
    finally:
        source.close()
    assert late.revision != early.revision
    assert (late.live, late.alerts) == (False, run.snapshot().alerts)
    assert run.recorder is not None
    assert (run.recorder.problem, run.recorder.given_up) == (None, 0)
    assert not journal.with_name("journal.sqlite-wal").exists(), "the writer could close its file"
