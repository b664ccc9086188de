"""The two commands on a machine with nothing but Python: how they fail, and that they need nothing else."""

from __future__ import annotations

import ast
import json
import runpy
import shutil
import subprocess
import sys
from collections.abc import Callable
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parent.parent
SCRIPTS = ROOT / "scripts"


@pytest.fixture
def environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """scripts/environment.py over a clone of its own that holds only pyproject.toml."""
    spec = spec_from_file_location("environment", SCRIPTS / "environment.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    (tmp_path / ".venv").mkdir()
    monkeypatch.setattr(module, "ROOT", tmp_path)
    monkeypatch.setattr(module, "PLACE", tmp_path / ".venv")
    monkeypatch.setattr(module, "STAMP", tmp_path / ".venv" / "made-from.json")
    return module


def answers(text: str | None) -> Callable[[list[str]], str | None]:
    """A stand-in for running a command: None = it went well, else what it said."""
    return lambda command: None if "venv" in command else text


@pytest.mark.parametrize("name", ["environment.py", "start.py", "test.py"])
def test_only_the_standard_library_is_imported(name: str) -> None:
    imported = set()
    for node in ast.walk(ast.parse((SCRIPTS / name).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            imported.add(str(node.module).split(".")[0])
    assert imported <= sys.stdlib_module_names | {"environment"}


def test_an_older_python_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 9, 2, "final", 0))
    with pytest.raises(SystemExit) as end:
        runpy.run_path(str(SCRIPTS / "environment.py"))
    assert end.value.code == "netwatch needs Python 3.11 or newer; this is Python 3.9."


def test_no_venv_names_the_package_to_install(environment: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(environment.importlib.util, "find_spec", lambda name: None if name == "ensurepip" else object())
    with pytest.raises(SystemExit) as end:
        environment.ready()
    assert "python3-venv" in str(end.value.code)
    assert not environment.STAMP.exists()


@pytest.mark.parametrize(("pip_says", "told"), [
    ("ERROR: No matching distribution found for numpy (from versions: none)", "connect this machine to the internet"),
    ("WARNING: NewConnectionError: Temporary failure in name resolution", "connect this machine to the internet"),
    ("building wheel\nERROR: no space left on device\n", "(ERROR: no space left on device)"),
])
def test_pip_failing_is_one_sentence(
    environment: ModuleType, monkeypatch: pytest.MonkeyPatch, pip_says: str, told: str
) -> None:
    monkeypatch.setattr(environment, "_quiet", answers(pip_says))
    with pytest.raises(SystemExit) as end:
        environment.ready()
    assert told in str(end.value.code)
    assert "\n" not in str(end.value.code)
    assert not environment.STAMP.exists()


def test_what_was_made_is_used_again_without_running_anything(
    environment: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(environment, "_quiet", answers(None))
    first = environment.ready()
    assert capsys.readouterr().err.startswith("Making the environment")
    monkeypatch.setattr(environment, "_quiet", answers("must not be called"))
    assert environment.ready() == first
    assert capsys.readouterr().err == ""


def test_a_changed_pyproject_updates_and_offline_goes_on(
    environment: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(environment, "_quiet", answers(None))
    environment.ready()
    with (environment.ROOT / "pyproject.toml").open("a") as file:
        file.write("\n# changed\n")
    capsys.readouterr()
    monkeypatch.setattr(environment, "_quiet", answers("NewConnectionError"))
    environment.ready()
    said = capsys.readouterr().err
    assert said.startswith("Updating the environment")
    assert "Going on with the packages from before." in said
    monkeypatch.setattr(environment, "_quiet", answers(None))
    environment.ready()
    assert capsys.readouterr().err.endswith("done.\n")


def test_another_python_or_place_makes_it_anew(
    environment: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(environment, "_quiet", answers(None))
    environment.ready()
    stamp = json.loads(environment.STAMP.read_text())
    for key in ("python", "place"):
        environment.STAMP.write_text(json.dumps({**stamp, key: "elsewhere"}))
        capsys.readouterr()
        environment.ready()
        assert capsys.readouterr().err.startswith("Making the environment")


class Ran(Exception):
    """Stands for the process that would have been started."""


@pytest.mark.parametrize(("script", "given", "expected"), [
    ("start.py", ["settings", "--set", "a=b"], ["-m", "netwatch", "settings", "--set", "a=b"]),
    ("test.py", ["-k", "gzip"], ["-m", "pytest", "-n", "auto", "--dist", "loadfile", "-k", "gzip"]),
    ("test.py", [], ["-m", "pytest", "-n", "auto", "--dist", "loadfile"]),
])
def test_arguments_are_passed_on(
    environment: ModuleType, monkeypatch: pytest.MonkeyPatch, script: str, given: list[str], expected: list[str]
) -> None:
    assert start(environment, monkeypatch, script, given) == expected


def test_start_plays_the_evening(environment: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    evening = environment.ROOT / "captures" / "02-a-long-evening.pcapng.gz"
    evening.parent.mkdir()
    evening.touch()
    assert start(environment, monkeypatch, "start.py", []) == ["-m", "netwatch", "replay", str(evening)]


def test_start_without_a_capture_says_what_to_do(environment: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(SystemExit, match="captures/02-a-long-evening.pcapng.gz is missing; name a capture"):
        start(environment, monkeypatch, "start.py", [])


def start(environment: ModuleType, monkeypatch: pytest.MonkeyPatch, script: str, given: list[str]) -> list[str]:
    """Run a script up to the point where it starts Python in the environment; the arguments that it would give."""
    started: list[list[str]] = []

    def run(arguments: list[str]) -> None:
        started.append(arguments)
        raise Ran

    monkeypatch.setattr(environment, "run", run)
    monkeypatch.setitem(sys.modules, "environment", environment)
    monkeypatch.setattr(sys, "argv", [script, *given])
    monkeypatch.chdir(environment.ROOT)
    with pytest.raises(Ran):
        runpy.run_path(str(SCRIPTS / script), run_name="__main__")
    return started[0]


def test_the_ci_script_is_good_bash() -> None:
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("bash is not here")
    assert subprocess.run([bash, "-n", str(ROOT / ".ci" / "run")], check=False).returncode == 0
