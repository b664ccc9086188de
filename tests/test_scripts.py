"""The two commands on a machine with nothing but Python: how they fail, and that they need nothing else."""

from __future__ import annotations

import ast
import json
import os
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
    for name in ("pyproject.toml", "requirements.lock"):
        shutil.copy(ROOT / name, tmp_path)
    (tmp_path / ".venv").mkdir()
    monkeypatch.setattr(module, "ROOT", tmp_path)
    monkeypatch.setattr(module, "PLACE", tmp_path / ".venv")
    monkeypatch.setattr(module, "WHEELS", tmp_path / "wheels")
    monkeypatch.setattr(module, "LOCK", tmp_path / "requirements.lock")
    monkeypatch.setattr(module, "STAMP", tmp_path / ".venv" / "made-from.json")
    return module


def answers(text: str | None) -> Callable[[list[str]], str | None]:
    """A stand-in for running a command: None = it went well, else what it said."""
    return lambda command: None if "venv" in command else text


@pytest.mark.parametrize("name", ["environment.py", "start.py", "test.py", "pack.py", "rights.py", "lock.py"])
def test_only_the_standard_library_is_imported(name: str) -> None:
    imported = set()
    for node in ast.walk(ast.parse((SCRIPTS / name).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            imported.add(str(node.module).split(".")[0])
    assert imported <= sys.stdlib_module_names | {"environment", "pack", "rights"}


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
    ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.", "not the one that requirements.lock knows"),
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


@pytest.mark.parametrize("name", ["pyproject.toml", "requirements.lock"])
def test_a_changed_list_of_packages_updates_and_offline_goes_on(
    environment: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    monkeypatch.setattr(environment, "_quiet", answers(None))
    environment.ready()
    with (environment.ROOT / name).open("a") as file:
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


# ---- wheels for a laptop without internet ----


@pytest.fixture
def load(environment: ModuleType, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], ModuleType]:
    """A script beside environment.py, with that one's clone."""
    monkeypatch.setitem(sys.modules, "environment", environment)

    def loaded(name: str) -> ModuleType:
        spec = spec_from_file_location(f"script_{name}", SCRIPTS / f"{name}.py")
        assert spec is not None
        assert spec.loader is not None
        module = module_from_spec(spec)
        spec.loader.exec_module(module)
        return module

    return loaded


def commands(
    environment: ModuleType, monkeypatch: pytest.MonkeyPatch, says: Callable[[list[str]], str | None]
) -> list[list[str]]:
    """Every command that would have been run."""
    ran: list[list[str]] = []
    monkeypatch.setattr(environment, "_quiet", lambda command: ran.append(command) or says(command))
    return ran


def test_the_wheels_of_all_that_is_installed_and_built_with_are_kept(
    environment: ModuleType, load: Callable[[str], ModuleType], monkeypatch: pytest.MonkeyPatch
) -> None:
    def pip(command: list[str]) -> str | None:
        if "wheel" in command:
            folder = Path(command[command.index("--wheel-dir") + 1])
            folder.mkdir()
            (folder / "numpy-2-any.whl").write_bytes(bytes(3_000_000))
        return None

    ran = commands(environment, monkeypatch, pip)
    (environment.ROOT / "wheels").mkdir()
    (environment.ROOT / "wheels" / "old.whl").touch()
    said = load("pack").pack()
    assert "1 wheels, 3 MB" in said
    assert sorted(path.name for path in environment.WHEELS.iterdir()) == ["made-for.json", "numpy-2-any.whl"]
    assert json.loads((environment.WHEELS / "made-for.json").read_text()) == environment.kind()
    wheel = next(command for command in ran if "wheel" in command)
    assert wheel[-3:] == ["--require-hashes", "-r", str(environment.LOCK)]


def test_packing_without_internet_leaves_what_was_kept(
    environment: ModuleType, load: Callable[[str], ModuleType], monkeypatch: pytest.MonkeyPatch
) -> None:
    commands(environment, monkeypatch, lambda command: "NewConnectionError" if "wheel" in command else None)
    environment.WHEELS.mkdir()
    (environment.WHEELS / "old.whl").touch()
    with pytest.raises(SystemExit, match=r"connect this machine .* kept before are still there\.$"):
        load("pack").pack()
    assert [path.name for path in environment.WHEELS.iterdir()] == ["old.whl"]
    assert not environment.WHEELS.with_name("wheels.new").exists()


@pytest.mark.parametrize(("kind", "tries"), [("this", [True, True]), ("other", [False, True])])
def test_wheels_of_this_kind_are_taken_without_asking_the_internet(
    environment: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], kind: str, tries: list[bool]
) -> None:
    environment.WHEELS.mkdir()
    made_for = environment.kind() if kind == "this" else {"python": "3.8", "platform": "elsewhere"}
    (environment.WHEELS / "made-for.json").write_text(json.dumps(made_for))
    ran = commands(environment, monkeypatch, lambda command: None)
    environment.ready()
    assert ["--no-index" in command for command in ran if "install" in command] == tries
    assert ("from the wheels" in capsys.readouterr().err) is tries[0]


def test_wheels_that_no_longer_hold_all_are_not_the_end(environment: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    environment.WHEELS.mkdir()
    (environment.WHEELS / "made-for.json").write_text(json.dumps(environment.kind()))
    ran = commands(environment, monkeypatch, lambda command: "from versions: none" if "--find-links" in command else None)
    environment.ready()
    assert ["--no-index" in command for command in ran if "install" in command] == [True, False, True]


# ---- the right to read frames ----

LINUX = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="capabilities are Linux's")


@pytest.fixture
def python(environment: ModuleType, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An environment's Python as venv makes it: names that point at each other, and one that points outside."""
    folder = environment.PLACE / "bin"
    folder.mkdir()
    (folder / "python3").symlink_to(Path(sys.executable).resolve())
    for name in ("python", "python3.11"):
        (folder / name).symlink_to("python3")
    monkeypatch.setattr(environment, "ready", lambda: folder / "python")
    return folder / "python"


def can_set() -> str | None:
    """Why no right can be given here."""
    if not sys.platform.startswith("linux") or os.geteuid() != 0:
        return "giving a right needs Linux and root"
    return None if shutil.which("setcap", path="/usr/sbin:/sbin:/usr/bin") else "the program setcap is not here"


@pytest.mark.skipif(can_set() is not None, reason=str(can_set()))
def test_the_right_goes_to_a_copy_and_comes_back(load: Callable[[str], ModuleType], python: Path) -> None:
    """The kernel is the judge: where root is nobody special (SECBIT_NOROOT, capabilities(7)), only the right itself counts."""
    rights, outside = load("rights"), Path(sys.executable).resolve()

    def opens() -> bool:
        plain = "import ctypes, os, sys; ctypes.CDLL(None).prctl(28, 1, 0, 0, 0); os.execv(sys.argv[1], sys.argv[1:])"
        command = [sys.executable, "-c", plain, str(python), "-c", rights.TRY]
        return subprocess.run(command, capture_output=True, check=False).returncode == 0

    assert not opens()
    assert "may read frames from now on" in rights.give()
    assert python.resolve() == python.parent / "python3"
    assert "security.capability" in os.listxattr(python)
    assert "security.capability" not in os.listxattr(outside)
    assert opens()
    assert "may no longer" in rights.take_back()
    assert not opens()
    assert "was not given" in rights.take_back()


@LINUX
def test_a_python_that_does_not_start_with_the_right_is_left_without(
    load: Callable[[str], ModuleType], python: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rights, ran = load("rights"), list[tuple[str, ...]]()
    monkeypatch.setattr(rights, "_setcap", lambda: "setcap")
    monkeypatch.setattr(rights, "_as_root", lambda *words: ran.append(words))
    monkeypatch.setattr(rights, "_may_read", lambda python: False)
    with pytest.raises(SystemExit, match="the right was taken back"):
        rights.give()
    copy = str(python.parent / "python3")
    assert ran == [("setcap", "cap_net_raw=ep", copy), ("setcap", "-r", copy)]


@pytest.mark.parametrize(("deed", "words"), [
    ("give", ("chown", "crew", "/dev/bpf0")), ("take_back", ("chown", "root", "/dev/bpf0")),
])
def test_macos_by_the_owner_of_its_devices(
    load: Callable[[str], ModuleType], monkeypatch: pytest.MonkeyPatch, deed: str, words: tuple[str, ...]
) -> None:
    """bpf(4): who may read /dev/bpf* may read frames. Not run on macOS."""
    rights, ran = load("rights"), list[tuple[str, ...]]()
    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(rights.getpass, "getuser", lambda: "crew")
    monkeypatch.setattr(rights, "_devices", lambda: ["/dev/bpf0"])
    monkeypatch.setattr(rights, "_as_root", lambda *words: ran.append(words))
    assert getattr(rights, deed)().endswith(".")
    assert ran == [words]


def test_windows_says_what_to_do_by_hand(load: Callable[[str], ModuleType], monkeypatch: pytest.MonkeyPatch) -> None:
    rights = load("rights")
    monkeypatch.setattr(sys, "platform", "win32")
    for deed in (rights.give, rights.take_back):
        with pytest.raises(SystemExit, match="driver Npcap"):
            deed()


@LINUX
def test_without_setcap_or_sudo_it_is_one_sentence(load: Callable[[str], ModuleType], monkeypatch: pytest.MonkeyPatch) -> None:
    rights = load("rights")
    monkeypatch.setattr(shutil, "which", lambda *a, **k: None)
    with pytest.raises(SystemExit, match="libcap2-bin"):
        rights._setcap()
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    monkeypatch.setenv("PATH", "/nowhere")
    with pytest.raises(SystemExit, match="sudo is missing; as administrator run: chown x"):
        rights._as_root("chown", "x")


def test_a_slip_behind_rights_is_one_sentence(environment: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "environment", environment)
    monkeypatch.setattr(sys, "argv", ["start.py", "--rights", "bak"])
    monkeypatch.syspath_prepend(str(SCRIPTS))
    with pytest.raises(SystemExit, match="'--rights back' to take it back"):
        runpy.run_path(str(SCRIPTS / "start.py"), run_name="__main__")


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
    with pytest.raises(SystemExit, match=r"captures/02-a-long-evening\.pcapng\.gz is missing; name a capture"):
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
