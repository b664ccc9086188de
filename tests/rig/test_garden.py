"""A real rig of 40 boxes that differs from its plan in ten planted ways: all are found, and nothing else.

Kernels with their own ARP and IGMP, dnsmasq and udhcpc, the libraries sacn and stupidArtnet, nodes that answer polls.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from rig.needs import why_not
from rig.scenes import SCENARIOS
from rig.scenes.garden import PLANTED

ROOT = Path(__file__).resolve().parents[2]
WHY_NOT = why_not(SCENARIOS["garden"])

pytestmark = [
    pytest.mark.lab,
    pytest.mark.timeout(420),
    pytest.mark.skipif(WHY_NOT is not None, reason=WHY_NOT or ""),
]

FOUND = {
    "lantern walk 2": "address 10.77.0.55 instead of 10.77.0.31",
    "gatehouse desk": "sends at priority 110 instead of 100",
    "gatehouse backup": "numbers are shifted, all are 1 higher: sACN 2-17 instead of sACN 1-16",
    "glass house 1": "receives sACN 11 instead of sACN 10",
    "mill pond 2": "another network card: MAC 02:48:47:00:01:0a instead of 02:48:47:00:00:0a; perhaps a box was changed",
    "tea lawn": "address 10.77.0.77 instead of one by DHCP (10.77.100.10 to 10.77.100.99)",
    "pixel 3": "calls itself frost 3 instead of pixel 3",
    "pixel 7": "receives Art-Net 0.0.6 (6) instead of Art-Net 0.1.6 (22)",
}


@pytest.fixture(scope="module")
def compared(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What replay says of the mirror port against the plan."""
    folder = tmp_path_factory.mktemp("garden")
    lab = [sys.executable, str(ROOT / "scripts" / "lab.py"), "record", "garden", "-o", str(folder)]
    done = subprocess.run(lab, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    plan = str(ROOT / "captures" / "garden.toml")
    replay = [sys.executable, "-m", "netwatch", "replay", str(folder / "garden.mirror.pcapng"), "--json", "--plan", plan]
    told = subprocess.run([*replay, "--from", "mirror"], capture_output=True, text=True, cwd=ROOT, check=False)
    return dict(json.loads(told.stdout)["plan"])


def test_all_ten_and_nothing_else(compared: dict[str, Any]) -> None:
    told = {each["name"]: [found["text"] for found in each["differences"]] for each in compared["devices"]}
    assert {name: texts for name, texts in told.items() if texts} == {name: [text] for name, text in FOUND.items()}
    assert [each["name"] for each in compared["devices"] if each["state"] == "missing"] == ["fern tunnel 2"]
    extra = [each["addresses"] for each in compared["devices"] if each["state"] == "extra"]
    assert extra == [[PLANTED["snow machine"][1]]]
    assert len(FOUND) + 2 == len(PLANTED) == 10
    assert (compared["here"], compared["differs"], compared["missing"], compared["extra"]) == (31, 8, 1, 1)


def test_by_what_they_were_found(compared: dict[str, Any]) -> None:
    by = {each["name"]: each["by"] for each in compared["devices"]}
    assert (by["lantern walk 2"], by["gatehouse desk"], by["mill pond 2"]) == ("MAC", "name", "address")
    assert by["orchard"] == by["boathouse"] == "name"
