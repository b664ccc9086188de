"""Real networks in namespaces: what happens in them is what netwatch must say of the captures."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest
from rig.needs import why_not
from rig.scenes import SCENARIOS

ROOT = Path(__file__).resolve().parents[2]
QUICK = [name for name, each in SCENARIOS.items() if not each.slow]
WHY_NOT = why_not(*SCENARIOS.values())

pytestmark = [
    pytest.mark.lab,
    pytest.mark.timeout(420),
    pytest.mark.skipif(WHY_NOT is not None, reason=WHY_NOT or ""),
]


def script(name: str, *words: str, **how: Any) -> subprocess.Popen[str]:
    """A script of the project, started."""
    command = [sys.executable, str(ROOT / "scripts" / name), *words]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **how)


@pytest.fixture(scope="session")
def board() -> dict[str, list[dict[str, Any]]]:
    """All verdicts by scenario; the scenarios play side by side."""
    return scored("--at-once", "8")


def scored(*words: str) -> dict[str, list[dict[str, Any]]]:
    """What the scoreboard says, by scenario."""
    said, complaint = script("score.py", "--json", *words).communicate(timeout=400)
    assert said, complaint
    verdicts = defaultdict(list)
    for verdict in json.loads(said):
        verdicts[verdict["scenario"]].append(verdict)
    return verdicts


@pytest.mark.parametrize("name", QUICK)
def test_what_happened_is_what_is_said(name: str, board: dict[str, list[dict[str, Any]]]) -> None:
    bad = failures(board[name])
    if bad:
        # On a starved machine real programs come late, and the network was another one than the story's: once more, alone.
        bad = failures(scored(name)[name])
    assert not bad, json.dumps(bad, indent=1)


def failures(verdicts: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [verdict for verdict in verdicts if verdict["result"] in ("missed", "unexpected", "wrong mark")]


def test_a_kill_leaves_nothing_behind() -> None:
    lab = script("lab.py", "run", "static_rig")
    assert lab.stdout is not None
    assert "begins" in lab.stdout.readline()
    family = descendants(lab.pid)
    assert family
    os.kill(lab.pid, signal.SIGKILL)
    lab.communicate(timeout=20)
    until = time.monotonic() + 20
    while any(Path(f"/proc/{pid}").exists() for pid in family) and time.monotonic() < until:
        time.sleep(0.05)
    assert not [pid for pid in family if Path(f"/proc/{pid}").exists()]
    assert not {"sw", "mon", "lap"} & namespaces()


def test_the_frames_are_whole_and_their_checksums_good(tmp_path: Path) -> None:
    """Read with dpkt, an independent reader; UDP checksums by RFC 768 and 1071."""
    import dpkt

    lab = script("lab.py", "record", "static_rig", "-o", str(tmp_path))
    complaint = lab.communicate(timeout=90)[1]
    assert lab.returncode == 0, complaint
    light = 0
    with (tmp_path / "static_rig.mirror.pcapng").open("rb") as file:
        for _, frame in dpkt.pcapng.Reader(file):
            ethernet = dpkt.ethernet.Ethernet(frame)
            if isinstance(ethernet.data, dpkt.ip.IP) and isinstance(ethernet.data.data, dpkt.udp.UDP):
                packet = ethernet.data
                light += packet.data.dport == 5568
                sent, packet.data.sum = packet.data.sum, 0
                packet.sum = 0
                bytes(packet)  # dpkt fills in sums of 0
                assert packet.data.sum == sent
    truth = json.loads((tmp_path / "static_rig.truth.json").read_text(encoding="utf-8"))
    # 20 Hz for about 24 s, by the library `sacn`; the machine may be busy.
    assert light > 200
    assert [event["what"] for event in truth["events"] if event["actor"] == "lantern"] == [
        "joins universe 1", "gets light of universe 1",
    ]


def namespaces() -> set[str]:
    """Names that this machine knows; those of a run are known inside alone."""
    folder = Path("/run/netns")
    return {each.name for each in folder.iterdir()} if folder.is_dir() else set()


def descendants(pid: int) -> list[int]:
    """All processes under this one."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="utf-8").split()
    return [each for child in map(int, children) for each in (child, *descendants(child))]
