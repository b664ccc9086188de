"""What a laptop goes through in a night. Each fault is made for real; the watch or the guard goes on and says what it missed."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from netwatch.packets.batch import PacketBatch
from netwatch.packets.files import open_captures
from netwatch.record.readback import FILE, read
from tests import lab
from tests.lab import Lab
from tests.running import Running
from tests.test_awake import until
from tests.test_watch import desk, net

__all__ = ["net"]
pytestmark = [pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT)), pytest.mark.timeout(240)]

WATCH = ("watch", "--plain", "--on", "near", "--from", "mirror", "--phase", "show", "--set", "awake=no")
GUARD = ("guard", "--on", "near", "--from", "mirror", "--phase", "show", "--size", "0.1", "--set", "awake=no")


@contextmanager
def running(*words: str, **how: object) -> Iterator[Running]:
    """Until the test is over, whatever happens."""
    made = Running(*words, **how)  # type: ignore[arg-type]
    try:
        yield made
    finally:
        if made.program.poll() is None:
            made.program.kill()
            made.program.wait()


@contextmanager
def light() -> Iterator[subprocess.Popen[bytes]]:
    """A controller that sends universe 7."""
    sending = desk(600)
    try:
        yield sending
    finally:
        sending.kill()
        sending.wait()


def journal(tmp_path: Path) -> Path:
    (found,) = tmp_path.rglob(FILE)
    return found


def captured(folder: Path) -> int:
    """Packets in the segments, each of which can be read."""
    source = open_captures(sorted(folder.glob("capture-*")))
    rows = sum(item.rows for item in source if isinstance(item, PacketBatch))
    assert [each.problem for each in source.files] == [None] * len(source.files)
    return rows


def heard(tmp_path: Path) -> None:
    """Light came, and stands in the journal."""
    until(lambda: list(tmp_path.rglob(FILE)) and any(each.universe == 7 for each in read(journal(tmp_path)).snapshot.streams), 60)


LOST = ("went silent", "signed off", "no longer reaches")
"""What must not be said of a controller that went on all the time."""


@pytest.mark.parametrize("verb", [WATCH, GUARD], ids=["watch", "guard"])
def test_the_cable_out_and_in(net: Lab, tmp_path: Path, verb: tuple[str, ...]) -> None:
    """The laptop's link is what fails, not the controller."""
    with light(), running(*verb) as watch:
        heard(tmp_path)
        net.ip("link", "set", "far", "down")
        watch.says("opened", "near has no link")
        net.ip("link", "set", "far", "up")
        net.ip("route", "add", "224.0.0.0/4", "dev", "far")
        watch.says("closed", "near has no link")
        packets = read(journal(tmp_path)).snapshot.packets
        until(lambda: read(journal(tmp_path)).snapshot.packets > packets + 50)
        watch.never_said(*LOST)
        watch.ends()
    if verb is GUARD:
        assert captured(journal(tmp_path).parent) == read(journal(tmp_path)).snapshot.packets


@pytest.mark.parametrize("verb", [WATCH, GUARD], ids=["watch", "guard"])
def test_the_adapter_gone_and_back_under_another_name(net: Lab, tmp_path: Path, verb: tuple[str, ...]) -> None:
    told = subprocess.run(["ip", "-br", "link", "show", "near"], capture_output=True, text=True, check=True)
    mac = told.stdout.split()[2]
    with light() as controller, running(*verb) as watch:
        heard(tmp_path)
        controller.send_signal(signal.SIGSTOP)
        net.ip("link", "del", "near")
        watch.says("opened", "near is gone")
        net.pair("far", "plug", "10.77.0.99/16", mac)
        net.ip("address", "add", "10.77.0.10/32", "dev", "far")
        net.ip("route", "add", "224.0.0.0/4", "dev", "far")
        watch.says("laptop", "near is back as plug and is listened to again")
        watch.says("closed", "near is gone")
        controller.send_signal(signal.SIGCONT)
        with light():
            packets = read(journal(tmp_path)).snapshot.packets
            until(lambda: read(journal(tmp_path)).snapshot.packets > packets + 50)
        watch.ends()


@pytest.mark.parametrize("verb", [WATCH, GUARD], ids=["watch", "guard"])
def test_asleep_and_awake(net: Lab, tmp_path: Path, verb: tuple[str, ...]) -> None:
    """A laptop that sleeps hears nothing: its cable is dead meanwhile. The controller was there all the time."""
    with light() as controller, running(*verb) as watch:
        heard(tmp_path)
        for each in (watch.program, controller):
            each.send_signal(signal.SIGSTOP)
        time.sleep(9)
        for each in (controller, watch.program):
            each.send_signal(signal.SIGCONT)
        watch.says("hole", "Nothing was recorded for")
        packets = read(journal(tmp_path)).snapshot.packets
        until(lambda: read(journal(tmp_path)).snapshot.packets > packets + 50)
        watch.never_said(*LOST)
        watch.ends()
    assert [line.what for line in read(journal(tmp_path)).snapshot.happenings].count("hole") == 1
