"""kill -9 at random moments: what was told is in the journal, and the journal can be read. The law is the project's own."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from netwatch.record.readback import FILE, read
from netwatch.story.snapshot import Happening

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "captures" / "01-first-evening.pcapng.gz"
LINES = 20
"""Of the demo's happenings about so many are told."""


def kill(folder: Path, chosen: random.Random) -> tuple[list[str], bool]:
    """Kill a recording session at a random moment; the whole lines that it had told, and whether it came to its end."""
    words = [sys.executable, "-m", "tests.record.fed", str(DEMO), str(folder)]
    program = subprocess.Popen(words, stdout=subprocess.PIPE, cwd=ROOT, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"})
    assert program.stdout is not None
    told, most = [], chosen.randrange(LINES + 5)
    with program, program.stdout:
        for _, line in zip(range(most), program.stdout, strict=False):
            told.append(line)
        time.sleep(chosen.choice((0, 0.02 * chosen.random())))  # right behind a line, or anywhere before the next
        program.kill()
        told += program.stdout.readlines()
    whole = [line.rstrip("\n") for line in told if line.endswith("\n")]
    return [line for line in whole if line != "done"], "done" in whole


def lines_of(happenings: tuple[Happening, ...]) -> list[str]:
    return [f"{h.at} {h.what} {h.alert} {h.text}" for h in happenings]


def survives(folder: Path, seed: int) -> int:
    """One kill; how many lines had been told."""
    told, ended = kill(folder, random.Random(seed))
    if not (folder / FILE).exists():
        assert not told
        return 0
    evening = read(folder / FILE)
    kept = lines_of(evening.snapshot.happenings)
    missing = [line for line in told if line not in kept]
    assert not missing, f"told, but not in the journal: {missing}"
    # The kill may have come between the last commit and the word 'done'.
    assert not (ended and evening.recording), "it says that its end is missing, but it is not"
    assert evening.recording or ended or len(told) >= LINES / 2, "it says by itself that its end is missing"
    alerts = {alert.id: alert for alert in evening.snapshot.alerts}
    for line in evening.snapshot.happenings:
        if line.what in ("opened", "closed"):
            assert line.alert in alerts, line
            assert line.what == "opened" or alerts[line.alert].closed is not None
    return len(told)


def over(seeds: range, folder: Path) -> None:
    """That many kills, a few at a time."""
    with ThreadPoolExecutor(2) as pool:
        told = list(pool.map(lambda seed: survives(folder / str(seed), seed), seeds))
    assert min(told) < LINES / 2 < max(told), "early and late"


@pytest.mark.timeout(600)
def test_no_alert_is_lost_over_twenty_kills(tmp_path: Path) -> None:
    over(range(20), tmp_path)


@pytest.mark.kills
@pytest.mark.timeout(6000)
def test_no_alert_is_lost_over_two_hundred_kills(tmp_path: Path) -> None:
    over(range(1000, 1200), tmp_path)
