"""``netwatch watch`` as a whole, in a namespace, against the sacn library and frames of the test's own."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from scapy.layers.inet import IP, UDP
from scapy.utils import rdpcap

from netwatch.packets.batch import Mark
from netwatch.packets.files import open_captures
from netwatch.record.readback import read
from tests import lab
from tests.lab import Lab

pytestmark = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))

DESK = """
import os, sys, time, sacn
sender = sacn.sACNsender(bind_address="10.77.0.10", source_name="gatehouse desk", fps=40)
sender.start()
sender.activate_output(7)
sender[7].multicast = True
end = time.time() + float(sys.argv[1])
step = 0
while time.time() < end:
    step += 1
    sender[7].dmx_data = tuple((step + slot) % 256 for slot in range(512))
    time.sleep(0.025)
os._exit(0)
"""
"""A controller that is unplugged at the end: nothing says goodbye."""


@pytest.fixture
def net(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Lab]:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    (tmp_path / "run").mkdir(mode=0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    with lab.lab() as made:
        made.pair("far", "near", "10.77.0.99/16")
        made.ip("address", "add", "10.77.0.10/32", "dev", "far")  # not in one network with the laptop's own
        made.ip("route", "add", "224.0.0.0/4", "dev", "far")
        yield made


def watch(*options: str) -> subprocess.Popen[str]:
    """The program, listening in this namespace."""
    words = [sys.executable, "-m", "netwatch", "watch", *options]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=Path(__file__).parent.parent)


def desk(seconds: float) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-c", DESK, str(seconds)])


def listens(tmp_path: Path) -> None:
    """Wait until a watch is there: its door is open."""
    until = time.monotonic() + 60
    while not list(tmp_path.rglob("watch-*")):
        assert time.monotonic() < until, "no watch came up"
        time.sleep(0.1)
    time.sleep(1)


def replayed(path: Path, *options: str) -> dict[str, Any]:
    words = [sys.executable, "-m", "netwatch", "replay", str(path), "--json", *options]
    return json.loads(subprocess.run(words, capture_output=True, text=True, check=False).stdout)


def without_files(document: dict[str, Any]) -> dict[str, Any]:
    return {**document, "capture": {**document["capture"], "files": None}}


def test_it_records_by_itself_unless_told_not_to(net: Lab, tmp_path: Path) -> None:
    controller = desk(20)
    try:
        (program := watch("--on", "near", "--for", "1", "--json", "--no-record")).communicate(timeout=30)
        assert not list(tmp_path.rglob("journal.sqlite"))
        _, err = (program := watch("--on", "near", "--from", "mirror", "--for", "5", "--json")).communicate(timeout=30)
    finally:
        controller.kill()
        controller.wait()
    (journal,) = tmp_path.rglob("journal.sqlite")
    assert program.returncode == 0
    assert f"Recorded in {journal.parent}." in err
    assert journal.parent.stat().st_mode & 0o777 == 0o700
    evening = read(journal)
    assert [each.universe for each in evening.snapshot.streams] == [7]
    assert evening.course is not None
    assert sum(evening.course.runs[0].packets) == evening.snapshot.streams[0].packets


def test_what_was_kept_replays_to_the_same_document_also_after_a_silence(net: Lab, tmp_path: Path) -> None:
    kept = tmp_path / "kept.pcapng"
    program = watch(
        "--on", "near", "--from", "mirror", "--phase", "show", "--keep", str(kept), "--json"
    )
    listens(tmp_path)
    desk(3).wait()
    until = time.monotonic() + 60
    while not any("source-lost" in str(read(path).snapshot.alerts) for path in tmp_path.rglob("journal.sqlite")):
        assert time.monotonic() < until, "it was not told"
        time.sleep(0.2)
    program.send_signal(signal.SIGINT)
    out, err = program.communicate(timeout=30)
    live = json.loads(out)
    assert [(alert["code"], alert["severity"]) for alert in live["alerts"]] == [("source-lost", "now")], err
    assert program.returncode == 1
    assert [each["phase"] for each in live["phase"]["changes"]] == ["show"]
    assert live["streams"][0]["name"] == "gatehouse desk"
    assert without_files(replayed(kept, "--from", "mirror")) == without_files(live)
    assert kept.stat().st_mode & 0o077 == 0


def test_ctrl_c_ends_it_as_a_time_limit_does(net: Lab, tmp_path: Path) -> None:
    """All that arrived is kept and judged, up to the last word of the laptop itself."""
    kept = tmp_path / "kept.pcapng"
    program = watch("--on", "near", "--from", "mirror", "--keep", str(kept), "--json")
    until = time.monotonic() + 20
    while not kept.exists() and time.monotonic() < until:
        time.sleep(0.05)
    sending = desk(30)
    while not light(kept) and time.monotonic() < until:
        time.sleep(0.2)
    program.send_signal(signal.SIGINT)
    out, err = program.communicate(timeout=30)
    sending.kill()
    sending.wait()
    assert "Stopped." in err
    assert without_files(replayed(kept, "--from", "mirror")) == without_files(json.loads(out))
    assert isinstance(list(open_captures([kept]))[-1], Mark)


def light(path: Path) -> bool:
    """Was light kept?"""
    return any(UDP in packet and packet[UDP].dport == 5568 for packet in rdpcap(str(path)))


def test_an_alert_is_told_while_it_happens(net: Lab, tmp_path: Path) -> None:
    program = watch("--on", "near", "--from", "mirror", "--plain")
    listens(tmp_path)
    desk(3).wait()
    assert program.stdout is not None
    lines = []
    until = time.monotonic() + 60
    while time.monotonic() < until and not any("opened" in line for line in lines):
        lines.append(program.stdout.readline())
    assert any("opened" in line and "gatehouse desk went silent: universe 7" in line for line in lines), lines
    program.send_signal(signal.SIGINT)
    assert "gatehouse desk" in program.communicate(timeout=20)[0]


def test_listening_sends_nothing_and_a_join_sends_what_was_agreed_to(net: Lab, tmp_path: Path) -> None:
    """IGMPv3 report for 239.255.0.5 (RFC 9776 4.2; group by E1.31-2018 9.3.1), and nothing before it."""
    kept = tmp_path / "kept.pcapng"
    program = watch("--on", "near", "--for", "5", "--keep", str(kept), "--json", "--join", "5", "--yes", "--yes",
                    "--set", "listen_first_s=2")
    out, err = program.communicate(timeout=30)
    own = [packet for packet in rdpcap(str(kept)) if IP in packet and packet[IP].src == "10.77.0.99" and packet[IP].proto == 2]
    begin = min(float(packet.time) for packet in rdpcap(str(kept))) if own else 0.0
    groups = [bytes(packet[IP].payload)[12:16] for packet in own]
    assert bytes([239, 255, 0, 5]) in groups, err
    assert json.loads(out)["capture"]["dropped"] == 0
    assert "brings up to 0.25 Mbit/s" in err
    assert begin > 0


def test_without_consent_nothing_is_joined(net: Lab, tmp_path: Path) -> None:
    kept = tmp_path / "kept.pcapng"
    program = watch("--on", "near", "--for", "3", "--keep", str(kept), "--json", "--join", "5", "--set", "listen_first_s=0.5")
    _, err = program.communicate(timeout=30)
    assert "Nothing was joined" in err
    own = [packet for packet in rdpcap(str(kept)) if IP in packet and packet[IP].src == "10.77.0.99"]
    assert own == []


def mark(*words: str) -> tuple[int, str, str]:
    """``netwatch mark``: (exit code, what it said, what it complained of)."""
    command = [sys.executable, "-m", "netwatch", "mark", *words]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=Path(__file__).parent.parent)
    return done.returncode, done.stdout.strip(), done.stderr.strip()


def marked(*words: str) -> str:
    """As soon as a watch runs."""
    until = time.monotonic() + 30
    while (told := mark(*words))[0] == 3 and time.monotonic() < until:
        assert "No watch of yours is running, so nothing was marked" in told[2]
    assert told[0] == 0, told
    return told[1]


def test_a_mark_from_another_terminal_stands_in_the_document_and_in_what_was_kept(net: Lab, tmp_path: Path) -> None:
    kept = tmp_path / "kept.pcapng"
    program = watch("--on", "near", "--keep", str(kept), "--json")
    said = marked("pond", " dark")
    assert re.fullmatch(r"Marked at \d\d:\d\d:\d\d in the watch on near: pond dark", said)
    folder = next(tmp_path.rglob("watch-*")).parent
    assert folder.stat().st_mode & 0o777 == 0o700
    program.send_signal(signal.SIGINT)
    out, err = program.communicate(timeout=30)
    live = json.loads(out)
    assert [each["word"] for each in live["marks"]] == ["pond dark"], err
    assert without_files(replayed(kept)) == without_files(live)
    assert list(folder.iterdir()) == []


def test_a_watch_that_was_killed_is_not_there(net: Lab, tmp_path: Path) -> None:
    program = watch("--on", "near", "--json")
    marked("x")
    program.kill()
    program.communicate(timeout=30)
    code, out, err = mark("y")
    assert (code, out, len(err.splitlines())) == (3, "", 1)
    assert list(next(tmp_path.rglob("netwatch")).glob("watch-*")) == []


@pytest.mark.parametrize(("words", "says"), [((" ",), "Say what is seen"), (("x" * 201,), "These are 201 characters")])
def test_a_mark_that_cannot_be(words: tuple[str, ...], says: str) -> None:
    code, _, err = mark(*words)
    assert code == 2
    assert says in err


def test_a_folder_that_others_can_reach_is_refused(net: Lab, tmp_path: Path) -> None:
    shared = tmp_path / "run" / "netwatch"
    shared.mkdir(parents=True)
    shared.chmod(0o777)
    code, _, err = mark("x")
    assert code == 3
    assert "is not yours alone" in err
    _, err = watch("--on", "near", "--for", "1", "--json").communicate(timeout=30)
    assert "So 'netwatch mark' can't reach this watch." in err


def test_what_is_known_in_this_job_is_known_in_the_next_watch_until_another_job(net: Lab, tmp_path: Path) -> None:
    """The list is written by hand here; keys are tested on the screen."""
    known = tmp_path / "state" / "netwatch" / "known.txt"
    known.parent.mkdir(parents=True)
    line = "no-querier | near | rig | soon | this job | borrowed switch"
    known.write_text(f"{line}\n")
    kept = tmp_path / "kept.pcapng"
    out, err = watch("--on", "near", "--for", "2", "--json", "--keep", str(kept)).communicate(timeout=30)
    assert "1 thing is known from before in this job and left be" in err
    assert without_files(replayed(kept)) == without_files(json.loads(out))
    _, err = watch("--on", "near", "--for", "1", "--json", "--new-job").communicate(timeout=30)
    assert "A new job: what was known in the last one is forgotten." in err
    assert not known.exists()
    known.write_text("nonsense\n")
    _, err = watch("--on", "near", "--for", "1", "--json").communicate(timeout=30)
    assert "known.txt, line 1: there are 1 columns" in err
    assert known.read_text() == "nonsense\n"


def test_without_a_choice_it_takes_the_interface_where_light_is_heard(net: Lab) -> None:
    net.pair("other_far", "other")
    sender = desk(6)
    program = watch("--for", "1", "--json")
    out, err = program.communicate(timeout=30)
    sender.wait()
    assert json.loads(out)["capture"]["interfaces"][0]["name"] in ("near", "far"), err
    assert "light" in err


@pytest.mark.parametrize(("options", "code", "says"), [
    (("--on", "eth9"), 3, "There is no interface 'eth9'"),
    (("--on", "near", "--join", "0", "--for", "1"), 2, "There is no universe 0"),
    (("--on", "near", "--join", "64000", "--for", "1"), 2, "There is no universe 64000"),
    (("--on", "near", "--for", "never"), 2, "--for"),
    (("--on", "near", "--for", "1", "--keep", "/nowhere/at/all.pcapng"), 3, "can't be written"),
])
def test_bad_input_is_one_sentence(net: Lab, options: tuple[str, ...], code: int, says: str) -> None:
    _, err = (program := watch(*options)).communicate(timeout=30)
    assert program.returncode == code
    assert says in err
    assert "Traceback" not in err
    assert len([line for line in err.splitlines() if line.startswith("netwatch:")]) == 1


def test_an_interface_that_is_down_is_named(net: Lab) -> None:
    net.ip("link", "set", "near", "down")
    _, err = (program := watch("--on", "near")).communicate(timeout=30)
    assert program.returncode == 3
    assert "is down" in err
    assert "far" not in err.split("up:")[0]


def test_without_rights_it_goes_on_with_what_this_laptop_gets(net: Lab) -> None:
    """No capability at all: one line says what can't be seen and how to be given the right; no password is asked for."""
    program = (
        "import sys; from netwatch.packets import rights; rights.drop(); "
        "from netwatch.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    words = [sys.executable, "-c", program, "watch", "--on", "near", "--for", "3", "--json", "--no-record", "--set", "awake=no"]
    done = subprocess.run(
        words, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False, cwd=Path(__file__).parent.parent
    )
    assert json.loads(done.stdout)["capture"]["listening"][0]["from"] == "limited", done.stderr
    assert "Limited view" in done.stderr
    assert "start this with sudo" in done.stderr
    assert len(done.stderr.splitlines()) == 1
