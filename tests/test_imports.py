"""What imports what: the one flow, and what a fresh interpreter has loaded."""

from __future__ import annotations

import os
import struct
import subprocess
import sys
from pathlib import Path

import pytest
from importlinter.cli import lint_imports

ROOT = Path(__file__).resolve().parent.parent

TELL = """
import sys
from netwatch.cli import main
try:
    main(sys.argv[1:])
except SystemExit:  # argparse ends a verb's help so
    pass
print(*{name.split(".")[0] for name in sys.modules}, file=sys.stderr)
"""


def loaded(*arguments: str) -> set[str]:
    """Top-level modules that a fresh interpreter has loaded after one run of the command line."""
    done = subprocess.run(
        [sys.executable, "-c", TELL, *arguments],
        cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=True,
    )
    return set(done.stderr.splitlines()[-1].split())


def test_the_one_flow(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """The contracts in pyproject.toml."""
    monkeypatch.chdir(ROOT)
    monkeypatch.syspath_prepend(str(ROOT))
    assert lint_imports(no_cache=True) == 0, capsys.readouterr().out


@pytest.mark.parametrize("arguments", [["--help"], ["replay", "--help"], ["--version"], ["rplay"], []])
def test_help_and_usage_load_nothing_heavy(arguments: list[str]) -> None:
    modules = loaded(*arguments)
    assert "netwatch" in modules
    heavy = {"numpy", "textual", "rich", "scapy", "psutil", "netifaces", "platformdirs", "asyncio", "sqlite3", "jinja2"}
    assert not modules & heavy


def test_replay_to_json_loads_neither_screens_nor_a_packet_library(tmp_path: Path) -> None:
    capture = tmp_path / "one.pcap"
    head = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65_535, 1)
    capture.write_bytes(head + struct.pack("<IIII", 1, 0, 60, 60) + bytes(60))
    modules = loaded("replay", "--json", str(capture))
    assert "numpy" in modules
    assert not modules & {"textual", "rich", "scapy", "psutil", "netifaces", "sqlite3", "jinja2"}


def test_the_frame_of_a_replay_stands_before_the_network_and_the_rules_are_loaded() -> None:
    tell = "import sys, netwatch.screens.app, netwatch.commands.opening; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", tell], cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    modules = set(done.stdout.split())
    assert "textual" in modules
    assert not modules & {"netwatch.network.network", "netwatch.alerts.catalogue", "netwatch.story.play", "scapy", "sqlite3"}


def test_a_key_just_after_a_picture_does_not_wait_long_for_the_next() -> None:
    """Textual's own limit is 60 pictures a second (constants.py there), and it is read when Textual is loaded."""
    tell = "import netwatch.screens.app, textual.screen; print(textual.screen.UPDATE_PERIOD)"
    bare = {key: value for key, value in os.environ.items() if key != "TEXTUAL_FPS"}
    done = subprocess.run([sys.executable, "-c", tell], cwd=ROOT, env=bare, capture_output=True, text=True, check=True)
    assert float(done.stdout) < 0.01
