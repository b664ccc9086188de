"""Netwatch itself, live on both ports of a real network while things go wrong in it.

What it must find is the scoreboard's own table: what it finds live, what is wanted of it, and what ``replay`` finds in what
it kept must all agree.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from rig.expected import PORTS, TABLE, Verdict, judge, table
from rig.needs import why_not
from rig.scenes import SCENARIOS

from netwatch.alerts.catalogue import RULES
from netwatch.words.soak import CANNOT_SAY, NOT_READY, READY

ROOT = Path(__file__).resolve().parents[2]
STORIES = {
    # Universes to join, and how long it listens first: a time for people, no standard's.
    "source_killed": ("1-3", 6),
    "pruned": ("1-2", 2),
    # By then the switch has forgotten the node and floods: what arrives unasked is never joined.
    "own_join": ("1", 21),
    "two_cards": ("1", 3),
}
SOAKS = {
    # On the laptop's own port, and on the mirror, which does not show what the switch holds back.
    "querier_control": (READY, CANNOT_SAY), "dropped": (NOT_READY, CANNOT_SAY), "unmanaged": (READY, None),
}  # fmt: skip
"""What a soak of half a minute says; None = the monitor can't tell that its port is a mirror."""
WHY_NOT = why_not(*(SCENARIOS[name] for name in (*STORIES, *SOAKS)))

pytestmark = [
    pytest.mark.lab,
    pytest.mark.timeout(240),
    pytest.mark.skipif(WHY_NOT is not None, reason=WHY_NOT or ""),
]


@pytest.fixture(scope="module")
def watched(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All stories played side by side, and what failed beside others again alone; the folder of what was told and kept."""
    folder = tmp_path_factory.mktemp("live")
    put = ["-o", str(folder)]
    stories = {name: [name, *put, "--join", join, "--set", f"listen_first_s={first}"] for name, (join, first) in STORIES.items()}
    play(list(stories.values()))
    for name, words in stories.items():
        if any(each.bad for port in PORTS for each in verdicts(folder, name, port)):
            play([words])
    return folder


@pytest.fixture(scope="module")
def soaked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same of soaks. The querier asks every 4 s in place of 125 s."""
    folder = tmp_path_factory.mktemp("soaks")
    timers = ["--set", "listen_first_s=3", "--set", "query_interval_s=4"]
    soaks = {name: [name, "-o", str(folder), "--join", "1-2", "--soak", "0.5", *timers] for name in SOAKS}
    play(list(soaks.values()))
    for name, words in soaks.items():
        told = [live(folder, name, port)["verdict"] for port in ("ordinary", "mirror")]
        if any(verdict not in (None, said) for verdict, said in zip(SOAKS[name], told, strict=True)):
            play([words])
    return folder


def play(stories: list[list[str]]) -> None:
    """Side by side."""
    program = [sys.executable, str(ROOT / "scripts/lab.py"), "watch"]
    runs = [subprocess.Popen([*program, *words], stderr=subprocess.PIPE, text=True) for words in stories]
    for run in runs:
        complaint = run.communicate(timeout=180)[1]
        assert run.returncode == 0, complaint


def verdicts(folder: Path, name: str, port: str) -> list[Verdict]:
    wanted = table(TABLE.read_text(encoding="utf-8"))
    return judge(name, port, wanted, truth(folder, name), live(folder, name, port)["alerts"], RULES)


def live(folder: Path, name: str, port: str) -> dict[str, Any]:
    return json.loads((folder / f"{name}.{port}.live.json").read_text(encoding="utf-8"))


def said(folder: Path, name: str, port: str) -> str:
    return (folder / f"{name}.{port}.said.txt").read_text(encoding="utf-8")


def truth(folder: Path, name: str) -> dict[str, Any]:
    return json.loads((folder / f"{name}.truth.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("port", PORTS)
@pytest.mark.parametrize("name", STORIES)
def test_live_it_finds_what_must_be_found(name: str, port: str, watched: Path) -> None:
    assert not [each for each in verdicts(watched, name, port) if each.bad], said(watched, name, port)


@pytest.mark.parametrize("port", PORTS)
@pytest.mark.parametrize("name", STORIES)
def test_replay_of_what_was_kept_says_the_same(name: str, port: str, watched: Path) -> None:
    told = live(watched, name, port)
    settings = [word for key, value in told["capture"]["settings"].items() for word in ("--set", f"{key}={value}")]
    kept = str(watched / f"{name}.{port}.kept.pcapng")
    words = [sys.executable, "-m", "netwatch", "replay", kept, "--json", *settings]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    again = json.loads(done.stdout)
    for document in (told, again):
        document["capture"]["files"] = None
    assert again == told, done.stderr


def test_it_joins_what_does_not_arrive(watched: Path) -> None:
    assert "Joined universes 1-3." in said(watched, "source_killed", "ordinary")
    assert "Joined universes 1-2." in said(watched, "pruned", "ordinary")
    # The laptop itself got light of what netwatch had asked for: the kernel's own word.
    heard = {event["what"] for event in truth(watched, "pruned")["events"] if event["actor"] == "lap"}
    assert {"gets light of universe 1", "gets light of universe 2"} <= heard


def test_what_arrives_unasked_is_not_joined_and_nobody_goes_dark(watched: Path) -> None:
    """The same join, by hand, darkens the node (the scenario as it is recorded)."""
    assert "Nothing to join: all of it arrives already." in said(watched, "own_join", "ordinary")
    events = truth(watched, "own_join")["events"]
    assert [event["what"] for event in events if event["actor"] == "lantern"] == ["joins universe 1", "gets light of universe 1"]


def test_the_laptop_says_itself_that_it_has_two_cards_in_one_network(watched: Path) -> None:
    """Two interfaces, two addresses in 10.77.0.0/16 (RFC 4632 3.1)."""
    told = {port: [each for each in live(watched, "two_cards", port)["alerts"] if each["code"] == "two-interfaces-one-network"]
            for port in PORTS}  # fmt: skip
    assert [(each["about_laptop"], each["facts"]["other"]) for each in told["ordinary"]] == [(True, "eth1")]
    assert told["mirror"] == []


def test_a_mirror_port_joins_nothing(watched: Path) -> None:
    assert "Nothing to join: all of it arrives already." in said(watched, "own_join", "mirror")


@pytest.mark.parametrize("name", SOAKS)
def test_a_soak_says_whether_light_will_hold(name: str, soaked: Path) -> None:
    """A switch that prunes forgets after the membership interval unless somebody asks (RFC 4541 2.1.1, RFC 3376 8.4)."""
    for port, verdict in zip(("ordinary", "mirror"), SOAKS[name], strict=True):
        if verdict is not None:
            assert live(soaked, name, port)["verdict"] == verdict, live(soaked, name, port)
    assert "this listens for 3 s" in said(soaked, name, "ordinary").lower(), "it says beforehand what it does"
