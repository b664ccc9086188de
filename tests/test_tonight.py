"""``netwatch laptop --tonight``: each check with what is there and what is missing. Thresholds: common practice, no source."""

from __future__ import annotations

import hashlib
import json
import re
import subprocess
import sys
from collections import namedtuple
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import psutil
import pytest

from netwatch.commands import tonight
from netwatch.commands.tonight import Item
from netwatch.numbers import DEFAULTS
from netwatch.packets import rights
from netwatch.report.tonight import render

ROOT = Path(__file__).parent.parent
Charge = namedtuple("Charge", "percent power_plugged")


def clone(folder: Path, project: str = "dependencies", made_from: str | None = None) -> Path:
    """A clone with an environment that was made from this project file."""
    (folder / ".venv").mkdir()
    (folder / "pyproject.toml").write_text(project)
    (folder / "requirements.lock").write_text(" and sums")
    digest = hashlib.sha256(((project if made_from is None else made_from) + " and sums").encode()).hexdigest()
    (folder / ".venv" / "made-from.json").write_text(json.dumps({"pyproject": digest}))
    return folder


def test_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    here = clone(tmp_path)
    assert tonight.environment(here, str(here / ".venv")).state == "FINE"
    (here / "pyproject.toml").write_text("other dependencies")
    assert tonight.environment(here, str(here / ".venv")).state == "WRONG"
    assert tonight.environment(here, "/another/environment").state == "FINE"
    (here / "pyproject.toml").write_text("dependencies")
    assert tonight.environment(here, str(here / ".venv")).state == "FINE"
    (here / "requirements.lock").write_text(" and other sums")
    assert tonight.environment(here, str(here / ".venv")).state == "WRONG"
    monkeypatch.setattr(tonight, "NEEDED", ("numpy", "no_such_module_here"))
    found = tonight.environment(here)
    assert (found.state, found.text) == ("WRONG", "no_such_module_here is missing in this Python.")


def test_what_is_needed_is_what_is_imported() -> None:
    """pyproject.toml names the same packages, by their distributions' names."""
    import tomllib

    named = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]
    modules = {"netifaces-plus": "netifaces"}
    plain = [re.split("[>=]", each)[0] for each in named if "linux" not in each or sys.platform == "linux"]
    assert {modules.get(each, each) for each in plain} == set(tonight.NEEDED)


def test_wheels_for_a_second_laptop(tmp_path: Path) -> None:
    assert tonight.second_laptop(tmp_path).state == "NOT TOLD"
    (tmp_path / "wheels").mkdir()
    kept = tmp_path / "wheels" / "made-for.json"
    kept.write_text(json.dumps(tonight.this_kind()))
    assert tonight.second_laptop(tmp_path).state == "FINE"
    kept.write_text(json.dumps({"python": "3.8", "platform": "elsewhere"}))
    assert "are for 3.8 elsewhere, not for this laptop" in tonight.second_laptop(tmp_path).text
    kept.write_text("{")
    assert tonight.second_laptop(tmp_path).state == "NOT TOLD"


def test_the_kind_of_laptop_is_told_as_the_script_writes_it() -> None:
    spec = spec_from_file_location("environment_of_clone", ROOT / "scripts" / "environment.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.kind() == tonight.this_kind()


def test_without_the_right(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rights, "cannot_listen", lambda: "This user may not read frames: do this.")
    right, driver = tonight.reading()
    assert (right.state, right.do, driver.state) == ("WRONG", "This user may not read frames: do this.", "NOT TOLD")


@pytest.mark.skipif(rights.cannot_listen() is not None, reason="this user may not read frames")
def test_with_the_right_a_ring_is_tried() -> None:
    right, driver = tonight.reading()
    assert right.state == "FINE"
    assert driver.state == ("FINE" if not sys.platform.startswith("linux") or psutil.net_if_stats()["lo"].isup else "WRONG")


def test_the_disk() -> None:
    """100 universes at 44 frames a second: 25 Mbit/s or 11.25 GB/h."""
    assert tonight.disk(45.0e9, 4.0).state == "FINE"
    assert "4 h of --keep with 100 universes" in tonight.disk(45.0e9, 4.0).text
    assert tonight.disk(44.0e9, 4.0).state == "WRONG"


@pytest.mark.parametrize(("told", "state"), [
    (None, "NOT TOLD"), (Charge(83, True), "FINE"), (Charge(20, True), "FINE"), (Charge(83, False), "FINE"),
    (Charge(20, False), "WRONG"), (Charge(20, None), "WRONG"),
])
def test_the_battery(monkeypatch: pytest.MonkeyPatch, told: Charge | None, state: str) -> None:
    """psutil.sensors_battery: None without a battery, power_plugged None where that is not told."""
    monkeypatch.setattr(psutil, "sensors_battery", lambda: told, raising=False)
    assert tonight.battery(DEFAULTS.tonight_battery).state == state


def test_the_clock() -> None:
    assert tonight.clock(1_795_627_331, 1_795_000_000).state == "FINE"
    found = tonight.clock(0, 1_795_000_000)
    assert (found.state, "before this program was written" in found.text) == ("WRONG", True)


def test_text_and_exit_code() -> None:
    items = [Item("Rights", "WRONG", "No.", "Do this. " * 12), Item("Clock", "FINE", "It is late.")]
    text = render(items, width=60)
    assert all(len(line) <= 60 for line in text.splitlines())
    assert "! WRONG     Rights" in text
    assert "Nothing of this" not in text
    assert "Nothing of this would fail" in render(items[1:])


@pytest.mark.parametrize("form", ["--plain", "--json"])
def test_as_a_whole(form: str) -> None:
    words = [sys.executable, "-m", "netwatch", "laptop", "--tonight", form]
    done = subprocess.run(words, capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode in (0, 4)
    assert done.stderr == ""
    if form == "--json":
        told = json.loads(done.stdout)
        assert [each["name"] for each in told["tonight"]] == [
            "Environment", "Second laptop", "Rights", "Driver", "Disk", "Battery", "Sleep", "Clock",
        ]  # fmt: skip
        assert (done.returncode == 4) is any(each["state"] == "WRONG" for each in told["tonight"])
