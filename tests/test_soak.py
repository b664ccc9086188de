"""``netwatch soak`` as a shell sees it: what it refuses, and a short one in a namespace, against the sacn library.

What it says of a rig is tested in ``tests/story/test_soak.py``; that it tells a good network from a bad one in ``tests/rig``.
"""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from netwatch.record.readback import facts
from tests import lab
from tests.lab import Lab
from tests.test_cli import netwatch, sentence
from tests.test_watch import desk, net

__all__ = ["net"]
ROOT = Path(__file__).resolve().parent.parent
live = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))
SHORT = [
    word for each in ("listen_first_s=2", "membership_s=3", "response_s=1", "querier_gone_s=3", "query_interval_s=2")
    for word in ("--set", each)
]  # fmt: skip
"""Standard timers, shortened."""


def soak(*options: str) -> subprocess.Popen[str]:
    """The program, listening in this namespace."""
    words = [sys.executable, "-m", "netwatch", "soak", "--on", "near", *SHORT, *options]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT)


@live
def test_light_that_comes_anyway_is_not_joined_and_holds(net: Lab, tmp_path: Path) -> None:
    controller = desk(60)
    try:
        out, err = (program := soak("--minutes", "0.2", "--json", "--yes")).communicate(timeout=100)
    finally:
        controller.kill()
        controller.wait()
    made = json.loads(out)
    assert (program.returncode, made["verdict"]) == (0, "READY"), (out, err)
    assert "Joining asks the switch for this light" in err
    (journal,) = tmp_path.rglob("journal.sqlite")
    assert facts(journal)["ended"], "it is recorded as a watch is"


@live
def test_without_light_and_stopped_by_hand_it_can_not_say(net: Lab) -> None:
    program = soak("--minutes", "5", "--no-record", "--join", "7")
    assert program.stderr is not None
    for line in program.stderr:  # the question has been asked, and without a terminal nobody can say yes
        if "Listening;" in line:
            break
    time.sleep(0.1)
    program.send_signal(signal.SIGINT)
    out, err = program.communicate(timeout=60)
    assert program.returncode == 130
    assert out.startswith("CANNOT SAY\n"), out
    assert "No light was heard at the end" in out
    assert "Traceback" not in err


def test_it_refuses_in_a_show(tmp_path: Path) -> None:
    done = netwatch(tmp_path, "soak", "--phase", "show")
    assert done.returncode == 2
    assert "in a show a join can darken" in sentence(done)


@pytest.mark.parametrize(("begin", "why"), [(-3600, "in a show a join can darken"), (300, "by the plan the show begins at")])
def test_it_refuses_while_the_plans_show_runs_and_shortly_before(tmp_path: Path, begin: int, why: str) -> None:
    moment = [time.strftime("%Y-%m-%dT%H:%M:00", time.localtime(time.time() + begin + more)) for more in (0, 7200)]
    (tmp_path / "rig.toml").write_text(f'[[show]]\nbegin = {moment[0]}\nend = {moment[1]}\n\n[[device]]\nname = "desk"\n')
    done = netwatch(tmp_path, "soak", "--plan", "rig.toml")
    assert done.returncode == 2
    assert why in sentence(done).lower()


@pytest.mark.parametrize(("options", "why"), [
    (["--minutes", "0"], "--minutes"), (["--join", "seven"], "names no universes"), (["--plan", "gone.toml"], "gone.toml"),
])  # fmt: skip
def test_bad_input_is_one_sentence(tmp_path: Path, options: list[str], why: str) -> None:
    done = netwatch(tmp_path, "soak", *options)
    assert done.returncode == 2
    assert why in sentence(done)
