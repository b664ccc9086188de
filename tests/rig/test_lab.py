"""Real networks in namespaces: what happens in them is what netwatch must say of the captures."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from shutil import rmtree
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
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The folder of what the scoreboard recorded; some hundred MB, so it goes with the tests."""
    folder = tmp_path_factory.mktemp("recorded")
    yield folder
    rmtree(folder)


@pytest.fixture(scope="session")
def board(recorded: Path) -> dict[str, list[dict[str, Any]]]:
    """All verdicts by scenario; the scenarios play side by side."""
    return scored("--at-once", "16", "--keep", str(recorded))


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
    bad = failures(verdicts_of(name, board))
    assert not bad, json.dumps(bad, indent=1)


@pytest.mark.parametrize("port", ["mirror", "ordinary"])
def test_a_tablet_with_a_new_mac_is_known_by_its_name(port: str, board: dict[str, list[dict[str, Any]]]) -> None:
    """Its DHCP client names it (RFC 2132 3.14); the locally administered bit tells a made-up MAC (IEEE 802 8.2.2)."""
    told = [each for each in verdicts_of("one_person", board) if (each["code"], each["port"]) == ("controller-left", port)]
    assert [each["title"] for each in told] == ["tablet is back as 0a:77:00:00:53:99"]


def verdicts_of(name: str, board: dict[str, list[dict[str, Any]]]) -> list[dict[str, Any]]:
    """Of a scenario that failed beside others those of a run alone: on a starved machine real programs come late."""
    if failures(board[name]):
        board[name] = scored(name)[name]
    return board[name]


def failures(verdicts: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [verdict for verdict in verdicts if verdict["result"] in ("missed", "unexpected", "wrong mark")]


@pytest.mark.parametrize("name", ["static_rig", "trunk_port"], ids=["the kernel's bridge", "Open vSwitch"])
def test_a_kill_leaves_nothing_behind(name: str) -> None:
    lab = script("lab.py", "run", name)
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


# ---- that the parts of the lab do what their names say; read with dpkt, an independent reader ----


@pytest.mark.usefixtures("board")
def test_the_frames_are_whole_and_their_checksums_good(recorded: Path) -> None:
    """UDP checksums by RFC 768 and 1071."""
    import dpkt

    light = 0
    for _, frame in captured(recorded, "static_rig", "mirror"):
        ethernet = dpkt.ethernet.Ethernet(frame)
        if isinstance(ethernet.data, dpkt.ip.IP) and isinstance(ethernet.data.data, dpkt.udp.UDP):
            packet = ethernet.data
            light += packet.data.dport == 5568
            sent, packet.data.sum = packet.data.sum, 0
            packet.sum = 0
            bytes(packet)  # dpkt fills in sums of 0
            assert packet.data.sum == sent
    # 20 Hz for about 24 s, by the library `sacn`; the machine may be busy.
    assert light > 200
    assert [event["what"] for event in story(recorded, "static_rig") if event["actor"] == "lantern"] == [
        "joins universe 1", "gets light of universe 1",
    ]


@pytest.mark.usefixtures("board")
def test_a_join_darkens_a_node_only_where_nobody_asks(recorded: Path) -> None:
    """RFC 4541 2.1.2: light goes to ports that asked, once one did; a querier keeps the others known."""
    dark, join = (  # the last time: on a busy machine the desk may have paused before
        next((each["t"] for each in reversed(story(recorded, "own_join")) if (each["actor"], each["what"]) == said), 0.0)
        for said in (("lantern", "gets no light of universe 1 any more"), ("lap", "joins universe 1"))
    )
    assert 0 < abs(dark - join) < 2
    assert [each["what"] for each in story(recorded, "own_join_control") if each["actor"] == "lantern"] == [
        "joins universe 1", "gets light of universe 1",
    ]


@pytest.mark.usefixtures("board")
def test_a_trunk_port_shows_the_tags_of_both_vlans(recorded: Path) -> None:
    """IEEE 802.1Q: EtherType 0x8100, then 12 bits of VLAN identifier."""
    frames = [frame for _, frame in captured(recorded, "trunk_port", "ordinary")]
    assert {int.from_bytes(frame[14:16], "big") & 0xFFF for frame in frames if frame[12:14] == b"\x81\x00"} == {10, 20}


@pytest.mark.usefixtures("board")
def test_only_the_bad_cable_changes_the_order(recorded: Path) -> None:
    """Sequence numbers of E1.31-2018 table 4-1: octet 111 of the packet, universe in 113 and 114."""
    back: dict[int, int] = {1: 0, 2: 0}
    newest: dict[int, int] = {}
    for _, frame in captured(recorded, "reordered", "mirror"):
        packet = frame[42:]
        if frame[36:38] == b"\x15\xc0" and packet[18:22] == b"\0\0\0\x04":
            universe = int.from_bytes(packet[113:115], "big")
            step = (packet[111] - newest.get(universe, packet[111] - 1)) & 255
            back[universe] += step >= 128
            newest[universe] = packet[111]
    assert back[1] >= 5
    assert back[2] == 0


@pytest.mark.usefixtures("board")
def test_a_loop_carries_the_same_frame_round_and_stays_small(recorded: Path) -> None:
    copies: defaultdict[bytes, int] = defaultdict(int)
    for _, frame in captured(recorded, "looped", "ordinary"):
        copies[frame] += 1
    assert max(copies.values()) > 50
    assert (recorded / "looped.ordinary.pcapng").stat().st_size < 8e6


def story(folder: Path, name: str) -> list[dict[str, Any]]:
    """What really happened."""
    events: list[dict[str, Any]] = json.loads((folder / f"{name}.truth.json").read_text(encoding="utf-8"))["events"]
    return events


def captured(folder: Path, name: str, port: str) -> list[tuple[float, bytes]]:
    """(time, frame) of a capture."""
    import dpkt

    with (folder / f"{name}.{port}.pcapng").open("rb") as file:
        return [(time, bytes(frame)) for time, frame in dpkt.pcapng.Reader(file)]


def namespaces() -> set[str]:
    """Names that this machine knows; those of a run are known inside alone."""
    folder = Path("/run/netns")
    return {each.name for each in folder.iterdir()} if folder.is_dir() else set()


def descendants(pid: int) -> list[int]:
    """All processes under this one."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="utf-8").split()
    return [each for child in map(int, children) for each in (child, *descendants(child))]
