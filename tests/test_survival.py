"""What a laptop goes through in a night. Each fault is made for real; a watch and a guard go on and say what they missed."""

from __future__ import annotations

import contextlib
import ctypes
import shutil
import signal
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

import pytest

from netwatch.packets.batch import PacketBatch
from netwatch.packets.files import open_captures
from netwatch.record.readback import FILE, read, slices
from netwatch.story.snapshot import Snapshot
from tests import lab
from tests.lab import Lab
from tests.running import Running
from tests.test_awake import until
from tests.test_watch import desk, net

__all__ = ["net"]
pytestmark = [pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT)), pytest.mark.timeout(300)]

COMMON = ("--on", "near", "--from", "mirror", "--phase", "show", "--set", "awake=no")
VERBS = {"watch": ("watch", "--plain", *COMMON), "guard": ("guard", "--size", "0.1", *COMMON)}
LOST = ("went silent", "signed off", "no longer reaches")
"""What must not be said of a controller that went on all the time."""
_NEW_MOUNTS, _PRIVATE = 0x20000, 1 << 18 | 1 << 14
"""CLONE_NEWNS; MS_PRIVATE | MS_REC (mount(2), from memory)."""


class Night(Running):
    """A watch or a guard with a folder of its own for what it records."""

    def __init__(self, verb: str, home: Path, *words: str, before: Callable[[], None] | None = None) -> None:
        super().__init__(*VERBS[verb], "--journal", str(home), *words, before=before)
        self.home, self.captures = home, verb == "guard"

    @property
    def journal(self) -> Path:
        (found,) = self.home.rglob(FILE)
        return found

    def snapshot(self) -> Snapshot:
        return read(self.journal).snapshot

    def hears(self, packets: int = 150) -> None:
        """So much light came since, and stands in the journal."""
        until(lambda: list(self.home.rglob(FILE)), 60)
        before = self.snapshot().packets
        until(lambda: self.snapshot().packets > before + packets and self.snapshot().streams, 60)

    def lost(self) -> bool:
        """The journal knows that the controller went silent."""
        return "source-lost" in {each.code for each in self.snapshot().alerts}


@contextmanager
def running(made: Night) -> Iterator[Night]:
    """Until the test is over, whatever happens."""
    try:
        yield made
    finally:
        made.close()


@pytest.fixture
def both(net: Lab, tmp_path: Path) -> Iterator[list[Night]]:
    """A watch and a guard on the same adapter."""
    with ExitStack() as ends:
        yield [ends.enter_context(running(Night(verb, tmp_path / verb))) for verb in VERBS]


@contextmanager
def light() -> Iterator[subprocess.Popen[bytes]]:
    """A controller that sends universe 7."""
    sending = desk(600)
    try:
        yield sending
    finally:
        sending.kill()
        sending.wait()


def good(folder: Path) -> int:
    """Each file of packets can be read to its end; how many packets there are in what rolled."""
    rows = 0
    for path in sorted(folder.glob("*.pcapng")):
        source = open_captures([path])
        held = sum(item.rows for item in source if isinstance(item, PacketBatch))
        assert source.files[0].problem is None, path
        rows += held if path.name.startswith("capture") else 0
    return rows


def test_the_cable_out_and_in(net: Lab, both: list[Night]) -> None:
    """The laptop's link is what fails, not the controller."""
    with light():
        for each in both:
            each.hears()
        net.ip("link", "set", "far", "down")
        for each in both:
            each.says("opened", "near has no link")
        net.ip("link", "set", "far", "up")
        net.ip("route", "add", "224.0.0.0/4", "dev", "far")
        for each in both:
            each.says("closed", "near has no link")
            each.hears(50)
            each.ends()
            causes = {alert.code for alert in each.snapshot().alerts if alert.over is None and alert.severity in ("now", "soon")}
            assert causes == {"nothing-heard-here"}, "what was missed meanwhile is explained by it"
            assert good(each.journal.parent) == (each.snapshot().packets if each.captures else 0)


def test_the_adapter_gone_and_back_under_another_name(net: Lab, both: list[Night]) -> None:
    told = subprocess.run(["ip", "-br", "link", "show", "near"], capture_output=True, text=True, check=True)
    mac = told.stdout.split()[2]
    with light():
        for each in both:
            each.hears()
    net.ip("link", "del", "near")
    for each in both:
        each.says("opened", "near is gone")
    net.pair("far", "plug", "10.77.0.99/16", mac)
    net.ip("address", "add", "10.77.0.10/32", "dev", "far")
    net.ip("route", "add", "224.0.0.0/4", "dev", "far")
    for each in both:
        each.says("laptop", "near is back as plug and is listened to again")
        each.says("closed", "near is gone")
    with light():
        for each in both:
            each.hears(50)
            each.ends()
            assert good(each.journal.parent) == (each.snapshot().packets if each.captures else 0)


def test_asleep_and_awake(both: list[Night]) -> None:
    """A laptop that sleeps hears nothing: its cable is dead meanwhile. The controller was there all the time."""
    with light() as controller:
        for each in both:
            each.hears()
        programs = (controller, *(each.program for each in both))
        for program in reversed(programs):
            program.send_signal(signal.SIGSTOP)
        time.sleep(7)
        for program in programs:
            program.send_signal(signal.SIGCONT)
        for each in both:
            each.says("hole", "Nothing was recorded for")
            each.hears(50)
            each.never_said(*LOST)
            each.ends()
            assert [line.what for line in each.snapshot().happenings].count("hole") == 1
            assert good(each.journal.parent) == (each.snapshot().packets if each.captures else 0)


def test_the_journal_is_locked_by_another_program_and_then_it_is_killed(both: list[Night]) -> None:
    """What happens meanwhile is told all the same, and written as soon as it can be. 200 kills: test_kills.py."""
    with light() as controller, ExitStack() as locks:
        for each in both:
            each.hears()
        for each in both:
            lock = locks.enter_context(closing(sqlite3.connect(each.journal, isolation_level=None, timeout=30)))
            lock.execute("BEGIN IMMEDIATE")
        for each in both:
            each.says("recording", "can't be written now (database is locked)")
        controller.kill()
        for each in both:
            each.says("opened", "gatehouse desk went silent")
    for each in both:
        each.says("recording", "Recording is whole again")
        until(each.lost)
        each.close()
        evening = read(each.journal)
        assert [alert.code for alert in evening.snapshot.alerts if alert.severity == "now"] == ["source-lost"]
        assert "was ended by force" in " ".join(evening.recording)
        kinds = {path.name.partition("-")[0] for path in each.journal.parent.glob("*.pcapng")}
        assert kinds == {"slice", "talk", *(["capture"] if each.captures else [])}
        good(each.journal.parent)


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGHUP])
def test_the_system_shuts_down_or_the_terminal_is_closed(net: Lab, tmp_path: Path, how: signal.Signals) -> None:
    """It ends as with Ctrl-C: all is written, and where it stands is told."""
    with running(Night("guard", tmp_path / "kept")) as guard:
        guard.says("phase", "show")
        guard.program.send_signal(how)
        guard.program.wait(60)
        guard.close()
        assert "Recorded in" in "".join(guard.lines)
        assert read(guard.journal).recording == ()


def test_two_guards_in_one_folder(net: Lab, tmp_path: Path) -> None:
    """Begun in the same second: each has a session of its own."""
    with running(Night("guard", tmp_path)) as one, running(Night("guard", tmp_path)) as other:
        for each in (one, other):
            each.says("phase", "show")
        for each in (one, other):
            assert "Recorded in" in each.ends()
    assert len({path.parent for path in tmp_path.rglob(FILE)}) == 2


# ---- a full disk ----


def tiny(folder: Path, size: str) -> Callable[[], None]:
    """For a new process: a disk of its own at this folder, in a mount namespace that is gone with it."""
    libc = ctypes.CDLL(None, use_errno=True)
    folder.mkdir()

    def mount() -> None:
        for failed in (
            libc.unshare(_NEW_MOUNTS), libc.mount(b"none", b"/", None, _PRIVATE, None),
            libc.mount(b"tmpfs", str(folder).encode(), b"tmpfs", 0, size.encode()),
        ):  # fmt: skip
            if failed:
                raise OSError(ctypes.get_errno(), "no disk")

    return mount


def inside(night: Night) -> Path:
    """Its folder as it sees it."""
    return Path(f"/proc/{night.program.pid}/root{night.home}")


def fill(path: Path) -> None:
    """Not an octet is left."""
    with path.open("ab", buffering=0) as file, contextlib.suppress(OSError):
        while file.write(bytes(1024)):
            pass


def test_the_disk_is_full_and_has_room_again(net: Lab, tmp_path: Path) -> None:
    """Recording stops, watching goes on and says so; what happened meanwhile is written as soon as it can be."""
    with light() as controller, ExitStack() as ends:
        nights = [
            ends.enter_context(running(Night(
                verb, tmp_path / verb, "--set", "guard_reserve_mib=1", before=tiny(tmp_path / verb, "size=12m")
            ))) for verb in VERBS
        ]  # fmt: skip
        for each in nights:
            until(lambda: list(inside(each).rglob("talk-*")), 60)  # noqa: B023 - called at once
        time.sleep(4)  # some light is heard
        full = [False]
        stop = time.monotonic() + 60
        while not all(full) and time.monotonic() < stop:
            for each in nights:
                fill(inside(each) / "filler")
            time.sleep(0.2)
            full = [any("can't be written now" in line for line in each.lines) for each in nights]
        controller.kill()
        for each in nights:
            each.says("recording", "can't be written now", "watching goes on")
            each.says("opened", "gatehouse desk went silent")
            (inside(each) / "filler").unlink()
        for each in nights:
            each.says("recording", "Recording is whole again")
            until(lambda: list(inside(each).rglob("slice-*")), 60)  # noqa: B023 - called at once
        time.sleep(3)  # a commit and a try at writing slices come meanwhile
        for each in nights:
            made_up_for(each, tmp_path / f"kept-{each.home.name}")
            each.ends()


def made_up_for(night: Night, kept: Path) -> None:
    """What is on its disk at one moment: the alert that was told while it was full, and its packets."""
    night.program.send_signal(signal.SIGSTOP)
    (journal,) = inside(night).rglob(FILE)
    shutil.copytree(journal.parent, kept)
    night.program.send_signal(signal.SIGCONT)
    lines = [(line.what, line.text) for line in read(kept / FILE).snapshot.happenings]
    (lost,) = [place for place, (what, text) in enumerate(lines) if what == "opened" and "went silent" in text]
    full = next(place for place, (what, text) in enumerate(lines) if what == "recording" and "watching goes on" in text)
    assert full < lost < lines.index(("recording", "Recording is whole again."))
    assert any("(source-lost)" in why for each in slices(kept / FILE) for why in each.why)
    good(kept)


def test_a_full_disk_ends_keep_and_the_watch_goes_on(net: Lab, tmp_path: Path) -> None:
    """A file that shall hold every packet is not gone on with after a gap."""
    words = ("--keep", str(tmp_path / "disk" / "all.pcapng"))
    made = Night("watch", tmp_path / "other", *words, before=tiny(tmp_path / "disk", "size=256k"))
    with light() as controller, running(made) as watch:
        watch.says("recording", "all.pcapng stopped (No space left on device); what was kept until then is good.")
        kept = tmp_path / "all.pcapng"
        shutil.copy(Path(f"/proc/{watch.program.pid}/root{tmp_path}/disk/all.pcapng"), kept)
        controller.kill()
        watch.says("opened", "gatehouse desk went silent")
        watch.ends()
    source = open_captures([kept])
    assert sum(item.rows for item in source if isinstance(item, PacketBatch)) > 100
    assert source.files[0].problem is None
