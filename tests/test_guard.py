"""``netwatch guard`` as a whole, in a namespace, against the sacn library; and what its options refuse."""

from __future__ import annotations

import json
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from netwatch.packets.batch import PacketBatch
from netwatch.packets.files import open_captures
from netwatch.record.readback import facts, read
from tests import lab
from tests.lab import Lab
from tests.test_awake import until
from tests.test_cli import netwatch, sentence
from tests.test_watch import desk, marked, net

__all__ = ["net"]
ROOT = Path(__file__).resolve().parent.parent
live = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))


def guard(*options: str) -> subprocess.Popen[str]:
    """The program, listening in this namespace."""
    words = [sys.executable, "-m", "netwatch", "guard", "--on", "near", *options]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT)


@live
def test_it_keeps_the_packets_and_says_where(net: Lab, tmp_path: Path) -> None:
    controller = desk(20)
    try:
        _, err = (program := guard("--from", "mirror", "--for", "5", "--size", "0.1")).communicate(timeout=60)
    finally:
        controller.kill()
        controller.wait()
    (journal,) = tmp_path.rglob("journal.sqlite")
    assert program.returncode == 0, err
    assert f"Kept in {journal.parent}: the newest packets in 107.4 MB" in err
    assert f"Recorded in {journal.parent}." in err
    assert facts(journal)["verb"] == "guard"
    captured = [item for item in open_captures(sorted(journal.parent.glob("capture-*"))) if isinstance(item, PacketBatch)]
    assert sum(item.rows for item in captured) == read(journal).snapshot.packets > 100
    replayed = json.loads(netwatch(tmp_path, "replay", journal.parent, "--json", "--from", "mirror").stdout)
    assert replayed["capture"]["packets"] == read(journal).snapshot.packets, "its folder is one story, told once"


@live
def test_all_that_is_kept_is_for_its_owner_alone(net: Lab, tmp_path: Path) -> None:
    """Also where the user's own mask would let everybody read and write."""
    controller = desk(40)
    words = [sys.executable, "-m", "netwatch", "guard", "--on", "near", "--from", "mirror", "--size", "0.1"]
    program = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT, umask=0)
    try:
        until(lambda: list(tmp_path.rglob("capture-*")), 40)
        marked("pond dark")
        until(lambda: list(tmp_path.rglob("slice-*")), 40)
        state = tmp_path / "state"
        names = {path.name for path in state.rglob("*") if path.is_file()}
        assert {"journal.sqlite", "journal.sqlite-wal", "journal.sqlite-shm", "slice-0001.pcapng", "talk-0001.pcapng"} <= names
        assert {stat.S_IMODE(path.stat().st_mode) for path in state.rglob("*") if path.is_file()} == {0o600}
        assert {stat.S_IMODE(path.stat().st_mode) for path in [state, *state.rglob("*")] if path.is_dir()} == {0o700}
    finally:
        controller.kill()
        controller.wait()
        program.send_signal(signal.SIGINT)
        _, err = program.communicate(timeout=60)
    assert "Traceback" not in err
    page, bundle = tmp_path / "report.html", tmp_path / "night.zip"
    folder = next(state.rglob("journal.sqlite")).parent
    words = [sys.executable, "-m", "netwatch", "report", str(folder), "-o", str(page), "--bundle", str(bundle)]
    subprocess.run(words, check=True, cwd=ROOT, umask=0)
    assert {stat.S_IMODE(path.stat().st_mode) for path in (page, bundle)} == {0o600}


def test_a_guard_that_can_not_record_does_not_begin(tmp_path: Path) -> None:
    """A watch goes on without a journal; a guard is there to record."""
    (tmp_path / "file").write_text("")
    words = [sys.executable, "-m", "netwatch", "guard", "--on", "lo", "--journal", str(tmp_path / "file")]
    done = subprocess.run(words, capture_output=True, text=True, timeout=60, check=False, cwd=ROOT)
    assert done.returncode == 3
    assert "No journal can be written" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(("options", "why"), [(["--whole", "--headers-only"], "exclude each other"), (["--size", "0"], "--size")])
def test_what_is_wrong_is_told_in_one_sentence(tmp_path: Path, options: list[str], why: str) -> None:
    done = netwatch(tmp_path, "guard", *options)
    assert done.returncode == 2
    assert why in sentence(done)
