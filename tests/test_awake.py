"""Keeping the laptop awake, against a login manager of our own on a real message bus; the battery as the kernel tells it."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import psutil
import pytest

from netwatch.commands import awake, tonight
from netwatch.words.awake import CANNOT
from tests import lab
from tests.lab import Lab
from tests.test_watch import net, watch

__all__ = ["net"]
ROOT = Path(__file__).resolve().parent.parent
BUS = shutil.which("dbus-daemon")
CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>system</type><listen>unix:path={socket}</listen><auth>EXTERNAL</auth>
<policy context="default"><allow user="*"/><allow own="*"/><allow send_destination="*"/><allow receive_sender="*"/></policy>
</busconfig>"""
pytestmark = pytest.mark.skipif(BUS is None, reason="needs the Debian package dbus-daemon")


def until(condition: Any, seconds: float = 20) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.02)


@pytest.fixture
def bus(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The address of a message bus of our own, which programs take for the system's."""
    socket, config = tmp_path / "bus", tmp_path / "bus.conf"
    config.write_text(CONFIG.format(socket=socket))
    program = subprocess.Popen([str(BUS), f"--config-file={config}", "--nofork", "--nopidfile"], stderr=subprocess.DEVNULL)
    until(socket.exists)
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={socket}")
    yield f"unix:path={socket}"
    program.kill()
    program.wait()


@pytest.fixture
def manager(bus: str, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Path]:
    """The folder in which the login manager says what it was asked; with the parameter 'refuse' it refuses."""
    words = [sys.executable, "-m", "tests.on_the_bus", bus, str(tmp_path), getattr(request, "param", "")]
    program = subprocess.Popen(words, cwd=ROOT)
    until((tmp_path / "there").exists)
    yield tmp_path
    program.kill()
    program.wait()


def test_the_stand_in_satisfies_the_systems_own_client(manager: Path) -> None:
    client = shutil.which("systemd-inhibit")
    if client is None:
        pytest.skip("needs systemd-inhibit")
    words = ["--what=sleep:idle", "--who=netwatch", f"--why={awake.words.WHY}", "--mode=block"]
    subprocess.run([client, *words, "true"], check=True)
    until((manager / "released").exists)
    assert (manager / "asked").read_text() == f"sleep:idle|netwatch|{awake.words.WHY}|block"


@pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))
@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGKILL])
def test_a_watch_keeps_the_laptop_awake_as_long_as_it_runs(net: Lab, manager: Path, end: signal.Signals) -> None:
    """Also one that is killed lets it sleep again."""
    program = watch("--on", "near", "--plain")
    assert program.stderr is not None
    try:
        told = next(line for line in program.stderr if "asleep" in line or "awake" in line)
        assert (manager / "asked").exists(), told
        assert (manager / "asked").read_text().split("|")[:2] == ["sleep:idle", "netwatch"]
        assert not (manager / "released").exists()
        program.send_signal(end)
        program.communicate(timeout=30)
        until((manager / "released").exists)
    finally:
        program.kill()
        program.communicate()
    assert "This laptop is kept awake until the watch ends." in told
    assert CANNOT in told


@pytest.mark.parametrize("manager", ["refuse"], indirect=True)
def test_a_refusal_is_told(manager: Path) -> None:
    kept = awake.Awake("linux")
    assert kept.told.startswith("This laptop may fall asleep (the login manager refuses: AccessDenied)")
    kept.close()
    kept.close()


def test_at_home_it_is_tried_and_taken_back(manager: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert tonight.sleep().state == "FINE"
    until((manager / "released").exists)
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path=/nowhere/at/all")
    found = tonight.sleep()
    assert (found.state, found.do) == ("WRONG", "Switch its sleep off in the system's settings.")
    assert "no login manager answers" in found.text


def test_no_login_manager_is_told(bus: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A bus without one, and no bus at all."""
    assert "may fall asleep (the login manager refuses: " in awake.Awake("linux").told
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path=/nowhere/at/all")
    assert "may fall asleep (no login manager answers)" in awake.Awake("linux").told
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", "nonsense")
    assert "may fall asleep (no login manager answers)" in awake.Awake("linux").told


def test_a_login_manager_that_hangs_does_not_hold_the_watch_up(bus: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """It has the name, and never answers."""
    from jeepney import message_bus
    from jeepney.io.blocking import open_dbus_connection

    monkeypatch.setattr(awake, "PATIENCE_S", 0.2)
    with open_dbus_connection(bus) as silent:
        silent.send_and_get_reply(message_bus.RequestName(awake.LOGIN_BUS))
        assert "may fall asleep (no login manager answers)" in awake.Awake("linux").told


# ---- the battery ----


def supply(folder: Path, **files: object) -> None:
    """As the kernel's ABI documents it (Documentation/ABI/testing/sysfs-class-power): uWh and uW."""
    battery = folder / "BAT0"
    battery.mkdir(exist_ok=True)
    for name, value in files.items():
        (battery / name).write_text(f"{value}\n")


def told(power: awake.Power, said: list[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """What is said at the next look."""
    said.clear()
    power._due = 0.0
    power.look()
    return list(said)


@pytest.mark.skipif(not psutil.LINUX, reason="the battery is made of the files of a Linux kernel")
def test_the_battery_is_told_as_it_empties(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("psutil._pslinux.POWER_SUPPLY_PATH", str(tmp_path))
    if not hasattr(psutil, "sensors_battery"):  # psutil offers it only where there is a battery
        monkeypatch.setattr(psutil, "sensors_battery", psutil._psplatform.sensors_battery, raising=False)
    said: list[Mapping[str, Any]] = []
    power = awake.Power(said.append, 1800)
    assert told(power, said) == [], "no battery"
    supply(tmp_path, energy_full=50_000_000, power_now=15_000_000, energy_now=25_000_000, status="Charging")
    assert told(power, said) == [], "on mains"
    supply(tmp_path, status="Discharging")
    assert told(power, said) == [{"power": "On battery: 1 h 40 left", "laptop": "On battery: 1 h 40 left"}]
    assert told(power, said) == []
    supply(tmp_path, energy_now=16_000_000)
    assert told(power, said) == [{"power": "On battery: 1 h 04 left"}]
    supply(tmp_path, energy_now=7_000_000)
    assert told(power, said) == [{"power": "On battery: 28 min left", "laptop": "On battery: 28 min left"}]
    supply(tmp_path, status="Charging")
    assert told(power, said) == [{"power": "", "laptop": "On its power supply again"}]
    supply(tmp_path, status="Discharging", power_now=0)
    assert told(power, said)[0]["power"] == "On battery: 14 %", "no draw is told, so no time"
    supply(tmp_path, energy_now="nonsense")
    assert told(power, said) in ([], [{"power": "", "laptop": "On its power supply again"}])
