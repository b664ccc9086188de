"""Rights are really gone: asked of the kernel, in programs of their own (capabilities(7), prctl(2), packet(7))."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from netwatch.packets import rights
from tests import lab
from tests.lab import Lab, frame

REPOSITORY = Path(__file__).parents[2]
NOBODY = 65534
needs_lab = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))

LOOK = """
import json, os, socket, sys
from pathlib import Path

def refused(what):
    try:
        what()
    except PermissionError:
        return True
    return False

def look(folder):
    made = Path(folder, "made")
    made.write_text("x")
    threads = [dict(line.split(":\\t") for line in Path(task, "status").read_text().splitlines() if ":\\t" in line)
               for task in Path("/proc/self/task").iterdir()]
    return {
        "uid": os.getresuid(), "gid": os.getresgid(), "groups": os.getgroups(),
        "rights": sorted({one[name] for one in threads for name in ("CapInh", "CapPrm", "CapEff", "CapBnd", "CapAmb")}),
        "no_new": sorted({one["NoNewPrivs"] for one in threads}),
        "packet_refused": refused(lambda: socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)),
        "root_refused": refused(lambda: os.setuid(0)),
        "owner": [made.stat().st_uid, made.stat().st_gid],
        "home": os.environ.get("HOME"),
    }
"""
GIVE_UP = LOOK + """
from netwatch.packets import rights
from netwatch.packets.ring import RingSource
ring = RingSource(["near"])
rights.drop()
print(json.dumps(look(sys.argv[1])), flush=True)
"""
GO_ON = GIVE_UP + """
from netwatch.packets.batch import PacketBatch
for item in ring:
    if isinstance(item, PacketBatch):
        print(item.packet(0).hex(), flush=True)
    elif item.facts:
        print(item.facts.get("name"), flush=True)
"""


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder into which anybody may write."""
    made = Path(tempfile.mkdtemp())
    made.chmod(0o777)
    yield made
    shutil.rmtree(made)


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far", "near")
        yield made


def start(code: str, folder: Path, **environment: str) -> subprocess.Popen[str]:
    base = {name: value for name, value in os.environ.items() if not name.startswith(("SUDO_", "PKEXEC_"))}
    return subprocess.Popen(
        [sys.executable, "-c", code, str(folder)], stdout=subprocess.PIPE, text=True, cwd=REPOSITORY,
        env=base | {"PYTHONPATH": str(REPOSITORY), "OPENBLAS_NUM_THREADS": "1"} | environment,
    )


def seen(code: str, folder: Path, **environment: str) -> dict[str, object]:
    out, _ = start(code, folder, **environment).communicate(timeout=30)
    return json.loads(out.splitlines()[0])


GONE = {"rights": ["0" * 16], "no_new": ["1"], "packet_refused": True}


@needs_lab
@pytest.mark.parametrize("environment", [
    {"SUDO_UID": str(NOBODY), "SUDO_GID": str(NOBODY)}, {"PKEXEC_UID": str(NOBODY)},
], ids=["sudo", "pkexec"])
def test_started_for_a_person_it_becomes_that_person(net: Lab, folder: Path, environment: dict[str, str]) -> None:
    import pwd

    person = pwd.getpwuid(NOBODY)
    got = seen(GIVE_UP, folder, **environment)
    assert got | GONE == got
    assert got["uid"] == [NOBODY] * 3
    assert got["gid"] == [person.pw_gid] * 3
    assert got["groups"] == os.getgrouplist(person.pw_name, person.pw_gid)
    assert got["owner"] == [NOBODY, person.pw_gid]
    assert got["home"] == person.pw_dir
    assert got["root_refused"] is True


@needs_lab
@pytest.mark.parametrize("environment", [{}, {"SUDO_UID": "0"}, {"SUDO_UID": "-1"}, {"SUDO_UID": "99999999999"}])
def test_root_itself_keeps_its_name_and_no_right(net: Lab, folder: Path, environment: dict[str, str]) -> None:
    got = seen(GIVE_UP, folder, **environment)
    assert got | GONE == got
    assert got["uid"] == [0, 0, 0]


@needs_lab
def test_a_person_whom_this_system_does_not_know(net: Lab, folder: Path) -> None:
    got = seen(GIVE_UP, folder, SUDO_UID="54321", SUDO_GID="54322")
    assert got | GONE == got
    assert (got["uid"], got["gid"], got["groups"], got["owner"]) == ([54321] * 3, [54322] * 3, [], [54321, 54322])


@needs_lab
def test_without_any_right_it_still_reads_and_follows_a_device_that_comes_back(net: Lab, folder: Path) -> None:
    child = start(GO_ON, folder, SUDO_UID=str(NOBODY))
    assert child.stdout is not None
    try:
        assert json.loads(child.stdout.readline())["packet_refused"] is True
        assert child.stdout.readline().strip() == "near"
        net.send("far", frame(1))
        assert child.stdout.readline().strip() == frame(1).hex()
        mac = mac_of("near")
        net.ip("link", "delete", "near")
        assert child.stdout.readline().strip() == "None"
        net.pair("far", "came-back", other_mac=mac)
        assert child.stdout.readline().strip() == "came-back"
        net.send("far", frame(2))
        # A machine that is slow may say once more that the link was away for a moment.
        assert next(line for line in child.stdout if line.strip() not in ("None", "came-back")).strip() == frame(2).hex()
    finally:
        child.kill()
        child.wait()
        child.stdout.close()


def mac_of(name: str) -> str:
    shown = subprocess.run(["ip", "-json", "link", "show", name], capture_output=True, text=True, check=True).stdout
    return json.loads(shown)[0]["address"]


AS_NOBODY: dict[str, Any] = {
    "user": NOBODY, "group": NOBODY, "extra_groups": [], "capture_output": True, "text": True, "timeout": 30,
}


def readable_python() -> str | None:
    """A Python that another user may start."""
    for python in (os.path.realpath(sys.executable), "/usr/bin/python3"):
        with contextlib.suppress(OSError):
            if subprocess.run([python, "-c", "import json, socket"], **AS_NOBODY, env={}).returncode == 0:
                return os.path.realpath(python)
    return None


@pytest.mark.skipif(not sys.platform.startswith("linux") or os.geteuid() != 0, reason="becoming another user needs root on Linux")
@pytest.mark.parametrize("given", [False, True], ids=["not given", "given to the file"])
def test_a_right_given_to_the_python_file_is_enough_and_is_given_up_too(folder: Path, given: bool) -> None:
    """setcap(8), as the sentence recommends it."""
    if shutil.which("setcap") is None:
        pytest.skip("setcap is not installed")
    shared = readable_python()
    if shared is None:
        pytest.skip("there is no Python here that another user may read")
    python = folder / "python"
    shutil.copy(shared, python)
    shutil.copy(rights.__file__, folder / "rights.py")
    if given and subprocess.run(["setcap", "cap_net_raw=ep", str(python)], capture_output=True).returncode:
        pytest.skip("this file system keeps no capabilities")
    code = LOOK + "import rights; before = rights.cannot_listen(); rights.drop(); " \
                  "print(json.dumps(look(sys.argv[1]) | {'before': before}))"
    ran = subprocess.run([python, "-c", code, folder], **AS_NOBODY, env={"PYTHONPATH": str(folder)})
    got = json.loads(ran.stdout)
    assert (got["before"] is None) is given
    assert got["packet_refused"] is True
    assert got["no_new"] == ["1"]


def test_the_way_to_the_right_is_one_sentence_for_each_system() -> None:
    assert "sudo setcap cap_net_raw=ep '/a b/python'" in rights.how("linux", "/a b/python", own=True, start=Path("/nowhere"))
    assert "start.py --rights' in" in rights.how("linux", "/a b/python", own=True, start=Path(__file__))
    assert "setcap" not in rights.how("linux", "/a b/python", own=False)
    assert "/dev/bpf" in rights.how("darwin")
    assert "Npcap" in rights.how("win32")
    for platform in ("linux", "darwin", "win32"):
        assert rights.how(platform).count(". ") == 0
        assert "\n" not in rights.how(platform)


def test_whoever_is_not_root_has_no_caller(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert rights.caller({"SUDO_UID": "1001"}) is None
