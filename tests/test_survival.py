"""What a laptop goes through in a night. Each fault is made for real; the watch or the guard goes on and says what it missed."""

from __future__ import annotations

import contextlib
import ctypes
import shutil
import signal
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from netwatch.packets.batch import PacketBatch
from netwatch.packets.files import open_captures
from netwatch.record.readback import FILE, read, slices
from tests import lab
from tests.lab import Lab
from tests.running import Running
from tests.test_awake import until
from tests.test_watch import desk, net

__all__ = ["net"]
pytestmark = [pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT)), pytest.mark.timeout(240)]

WATCH = ("watch", "--plain", "--on", "near", "--from", "mirror", "--phase", "show", "--set", "awake=no")
GUARD = ("guard", "--on", "near", "--from", "mirror", "--phase", "show", "--size", "0.1", "--set", "awake=no")


def tiny(folder: Path, size: str) -> Callable[[], None]:
    """For a new process: a disk of its own at this folder, in a mount namespace that is gone with it."""
    libc = ctypes.CDLL(None, use_errno=True)

    def mount() -> None:
        for failed in (
            libc.unshare(_NEW_MOUNTS), libc.mount(b"none", b"/", None, _PRIVATE, None),
            libc.mount(b"tmpfs", str(folder).encode(), b"tmpfs", 0, size.encode()),
        ):  # fmt: skip
            if failed:
                raise OSError(ctypes.get_errno(), "no disk")

    return mount


def inside(program: subprocess.Popen[str], folder: Path) -> Path:
    """The folder as that process sees it."""
    return Path(f"/proc/{program.pid}/root{folder}")


def fill(path: Path) -> None:
    """Not an octet is left."""
    with path.open("ab", buffering=0) as file, contextlib.suppress(OSError):
        while file.write(bytes(1024)):
            pass


@contextmanager
def running(*words: str, **how: object) -> Iterator[Running]:
    """Until the test is over, whatever happens."""
    made = Running(*words, **how)  # type: ignore[arg-type]
    try:
        yield made
    finally:
        made.close()


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
    """Light came for some seconds, and stands in the journal."""
    until(lambda: list(tmp_path.rglob(FILE)), 60)
    until(lambda: any(each.universe == 7 and each.packets > 150 for each in read(journal(tmp_path)).snapshot.streams), 60)


_NEW_MOUNTS, _PRIVATE = 0x20000, 1 << 18 | 1 << 14
"""CLONE_NEWNS; MS_PRIVATE | MS_REC (mount(2), from memory)."""
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


@pytest.mark.parametrize("verb", [WATCH, GUARD], ids=["watch", "guard"])
def test_the_disk_is_full_and_has_room_again(net: Lab, tmp_path: Path, verb: tuple[str, ...]) -> None:
    """Recording stops, watching goes on and says so; what happened meanwhile is written as soon as it can be."""
    disk = tmp_path / "disk"
    disk.mkdir()
    words = (*verb, "--journal", str(disk), "--set", "guard_reserve_mib=1")
    with light() as controller, running(*words, before=tiny(disk, "size=12m")) as watch:
        there = inside(watch.program, disk)
        watch.says("phase", "show")
        until(lambda: list(there.rglob("talk-*")), 60)
        time.sleep(2)  # some light is heard
        begun = len(watch.lines)
        stop = time.monotonic() + 60
        while not any("can't be written now" in line for line in watch.lines[begun:]) and time.monotonic() < stop:
            fill(there / "filler")
            time.sleep(0.2)
        watch.says("recording", "can't be written now", "watching goes on")
        controller.kill()
        watch.says("opened", "gatehouse desk went silent")
        (there / "filler").unlink()
        watch.says("recording", "Recording is whole again")
        until(lambda: list(there.rglob("slice-*")))
        time.sleep(3)  # a commit and a try at writing slices come meanwhile
        watch.program.send_signal(signal.SIGSTOP)
        kept = Path(shutil.copytree(journal(there).parent, tmp_path / "kept"))
        watch.program.send_signal(signal.SIGCONT)
        watch.ends()
    lines = [(line.what, line.text) for line in read(kept / FILE).snapshot.happenings]
    (lost,) = [place for place, (what, text) in enumerate(lines) if what == "opened" and "went silent" in text]
    full = next(place for place, (what, text) in enumerate(lines) if what == "recording" and "watching goes on" in text)
    assert full < lost < lines.index(("recording", "Recording is whole again."))
    for path in kept.glob("*.pcapng"):
        source = open_captures([path])
        list(source)
        assert source.files[0].problem is None, path
    assert any("(source-lost)" in why for each in slices(kept / FILE) for why in each.why), "also what was told meanwhile"


@pytest.mark.parametrize("verb", [WATCH, GUARD], ids=["watch", "guard"])
def test_the_journal_is_locked_by_another_program(net: Lab, tmp_path: Path, verb: tuple[str, ...]) -> None:
    with light() as controller, running(*verb) as watch:
        heard(tmp_path)
        with closing(sqlite3.connect(journal(tmp_path), isolation_level=None, timeout=30)) as other:
            other.execute("BEGIN IMMEDIATE")
            watch.says("recording", "can't be written now (database is locked)")
            controller.kill()
            watch.says("opened", "gatehouse desk went silent")
        watch.says("recording", "Recording is whole again")
        until(lambda: [each for each in read(journal(tmp_path)).snapshot.alerts if each.code == "source-lost"])
        watch.ends()


@pytest.mark.parametrize("verb", [WATCH, GUARD], ids=["watch", "guard"])
def test_killed(net: Lab, tmp_path: Path, verb: tuple[str, ...]) -> None:
    """All that was told stands in the journal, and each file of packets can be read; 200 times: test_kills.py."""
    with light() as controller, running(*verb) as watch:
        heard(tmp_path)
        controller.kill()
        watch.says("opened", "gatehouse desk went silent")
        watch.close()
    evening = read(journal(tmp_path))
    assert [each.code for each in evening.snapshot.alerts if each.severity == "now"] == ["source-lost"]
    assert "was ended by force" in " ".join(evening.recording)
    files = sorted(journal(tmp_path).parent.glob("*.pcapng"))
    assert {path.name.partition("-")[0] for path in files} >= {"slice", "talk", *(["capture"] if verb is GUARD else [])}
    for path in files:
        source = open_captures([path])
        list(source)
        assert source.files[0].problem is None, path


def test_two_guards_in_one_folder(net: Lab, tmp_path: Path) -> None:
    """Begun in the same second: each has a session of its own."""
    disk = tmp_path / "disk"
    with light(), running(*GUARD, "--journal", str(disk)) as one, running(*GUARD, "--journal", str(disk)) as other:
        for each in (one, other):
            each.says("phase", "show")
        for each in (one, other):
            assert "Recorded in" in each.ends()
    assert len({path.parent for path in disk.rglob(FILE)}) == 2


def test_a_full_disk_ends_keep_and_the_watch_goes_on(net: Lab, tmp_path: Path) -> None:
    """A file that shall hold every packet is not gone on with after a gap."""
    disk = tmp_path / "disk"
    disk.mkdir()
    words = (*WATCH, "--no-record", "--keep", str(disk / "all.pcapng"))
    with light() as controller, running(*words, before=tiny(disk, "size=1m")) as watch:
        watch.says("recording", "all.pcapng stopped (No space left on device); what was kept until then is good.")
        kept = tmp_path / "all.pcapng"
        shutil.copy(inside(watch.program, disk) / "all.pcapng", kept)
        controller.kill()
        watch.says("opened", "gatehouse desk went silent")
        watch.ends()
    source = open_captures([kept])
    assert sum(item.rows for item in source if isinstance(item, PacketBatch)) > 500
    assert source.files[0].problem is None
