"""Alerts that are passed on: real programs as ``on_alert``, the desktop by a stand-in on a real message bus."""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from netwatch.commands import hook, notice
from netwatch.commands.hook import Hook, found, once
from netwatch.commands.telling import Telling
from netwatch.numbers import DEFAULTS
from netwatch.settings import FILE, Settings, SettingsError, Words, load
from netwatch.story.snapshot import AlertView, Happening, Snapshot
from tests import lab
from tests.handmade import alert, at, clean
from tests.lab import Lab
from tests.test_awake import BUS, bus, manager, until
from tests.test_cli import netwatch, sentence
from tests.test_watch import desk, net, watch

__all__ = ["bus", "manager", "net"]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the programs are shell scripts")


def program(folder: Path, text: str) -> str:
    """A shell script; it stands in FOLDER, and so does what it writes."""
    path = folder / "tell"
    path.write_text(f"#!/bin/sh\ncd {folder}\n{text}\n")
    path.chmod(0o700)
    return str(path)


# ---- one run ----


@pytest.mark.parametrize(("text", "says"), [
    ("cat > got", None),
    ("exec true", None),
    ("exit 3", "ended with code 3"),
    ("kill -9 $$", "was ended by signal 9"),
    ("sleep 60", "was ended, because it took more than 0.5 s"),
    ("cat > got; sleep 60 & wait", "was ended, because it took more than 0.5 s"),
    ("cat > got; yes", "was ended, because it took more than 0.5 s"),
    ("cat > got; yes | head -c 20000000; yes | head -c 20000000 >&2", None),
], ids=["reads", "reads-nothing", "fails", "dies", "hangs", "hangs-with-a-child", "floods", "floods-and-ends"])  # fmt: skip
def test_one_run(tmp_path: Path, text: str, says: str | None) -> None:
    patience = 30.0 if says is None or "more than" not in says else 0.5
    told = once([program(tmp_path, text)], '{"event": "opened"}\n', patience)
    assert (told is None) == (says is None), told
    assert says is None or (says in str(told) and str(told).startswith("on_alert: "))
    if (tmp_path / "got").exists() and says is None:
        assert json.loads((tmp_path / "got").read_text()) == {"event": "opened"}


def test_what_a_program_started_ends_with_it(tmp_path: Path) -> None:
    told = once([program(tmp_path, "sleep 60 & echo $! > child; wait")], "", 1.0)
    child = int((tmp_path / "child").read_text())
    assert told is not None
    until(lambda: not Path(f"/proc/{child}").exists() or " Z " in Path(f"/proc/{child}/stat").read_text())


def test_a_long_alert_that_nobody_reads(tmp_path: Path) -> None:
    """More than any pipe holds."""
    assert once([program(tmp_path, "exec true")], "x" * 2_000_000, 30) is None


def test_where_programs_are_looked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = program(tmp_path, "true")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    assert found(path) == found("~/tell") == path
    assert found("sh") is not None
    for wrong in ("tell", "./tell", "../tell", "/nowhere/tell", "~/nothing", ""):
        assert found(wrong) is None
    monkeypatch.setenv("PATH", f".{os.pathsep}{os.environ['PATH']}")
    assert found("tell") is None, "never from the current folder"


def test_what_can_not_be_started_is_told(tmp_path: Path) -> None:
    (tmp_path / "text").write_text("no program")
    assert "can't be started (permission denied)" in str(once([str(tmp_path / "text")], "", 5))
    (tmp_path / "text").chmod(0o700)
    assert "can't be started (exec format error)" in str(once([str(tmp_path / "text")], "", 5))
    assert "there is no program /nowhere/tell" in str(once(["/nowhere/tell"], "", 5))


# ---- many ----


def test_one_after_the_other_and_what_is_too_much_is_left_out_and_told(tmp_path: Path) -> None:
    said: list[str] = []
    told = Hook([program(tmp_path, "cat >> got")], replace(DEFAULTS, hook_per_min=5), said.append)
    for number in range(9):
        told.pass_on(f"{number}\n")
    told.close()
    assert (tmp_path / "got").read_text().split() == ["0", "1", "2", "3", "4"]
    assert said[0].startswith("on_alert: too many alerts at once (more than 5 a minute)")
    assert said[1:] == ["on_alert works again; 4 alerts were not passed on meanwhile."]


def test_after_a_minute_more_may_be_passed_on(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(hook, "MINUTE_S", 0.0)
    told = Hook([program(tmp_path, "cat >> got")], replace(DEFAULTS, hook_per_min=1), lambda text: None)
    for _ in range(3):
        told.pass_on("x\n")
    told.close()
    assert (tmp_path / "got").read_text() == "x\nx\nx\n"


def test_a_fault_is_told_once_and_its_end(tmp_path: Path) -> None:
    said: list[str] = []
    told = Hook([program(tmp_path, "test -e fine")], DEFAULTS, said.append)
    for _ in range(3):
        told.pass_on("{}\n")
        until(lambda: not told._waiting)
    until(lambda: said)
    (tmp_path / "fine").touch()
    told.pass_on("{}\n")
    told.close()
    assert len(said) == 2
    assert "ended with code 1" in said[0]
    assert "works again" in said[1]


def test_one_that_hangs_holds_nobody_up(tmp_path: Path) -> None:
    """The watch ends in the time of one run, whatever waits."""
    said: list[str] = []
    told = Hook([program(tmp_path, "sleep 60")], replace(DEFAULTS, hook_s=0.5), said.append)
    for _ in range(20):
        told.pass_on("{}\n")
    told.close()
    assert not told._thread.is_alive()
    assert "was ended, because it took more than 0.5 s" in said[0]


def test_a_program_that_is_missing_is_told_at_once() -> None:
    said: list[str] = []
    Hook(["/nowhere/tell"], DEFAULTS, said.append).close()
    assert said == [
        "on_alert: there is no program /nowhere/tell, so alerts are not passed on; write its whole path into the settings."
    ]


# ---- which alerts ----


class Played:
    """A session that a test tells what happened."""

    def __init__(self) -> None:
        self.shot: Snapshot = clean()
        self.lines: list[Happening] = []

    def happenings(self, since: int) -> list[Happening]:
        return self.lines[since:]

    def snapshot(self) -> Snapshot:
        return self.shot

    def becomes(self, what: str, *alerts: AlertView) -> None:
        self.shot = replace(clean(), alerts=alerts)
        self.lines += [Happening(at(1), what, "", each.id) for each in alerts]


def passed(monkeypatch: pytest.MonkeyPatch, least: str = "soon") -> tuple[Played, Telling, list[Any]]:
    out: list[Any] = []
    monkeypatch.setattr(Hook, "pass_on", lambda self, text: out.append(json.loads(text)))
    played = Played()
    return played, Telling(played, Settings(words=Words(on_alert_from=least), on_alert=("true",)), out.append), out


def test_an_alert_is_passed_on_when_it_opens_when_it_gets_worse_and_when_it_is_over(monkeypatch: pytest.MonkeyPatch) -> None:
    played, telling, out = passed(monkeypatch)
    one = alert(1, "sources-fighting", "soon", {"universe": 1})
    for what, each in (("opened", one), ("changed", one), ("changed", replace(one, severity="now")),
                       ("closed", replace(one, severity="now", closed=at(9)))):
        played.becomes(what, each)
        telling.look()
    telling.look()
    telling.close()
    assert [each["event"] for each in out] == ["opened", "worse", "closed"]
    assert out[0]["alert"]["code"] == "sources-fighting"
    assert out[0]["alert"]["steps"]
    assert (out[0]["schema"], out[0]["phase"]) == (1, "building")


@pytest.mark.parametrize("quietly", [{"severity": "quality"}, {"over": 9}, {"accepted": {"why": ""}}, {"closed": at(9)}])
def test_what_is_not_bad_enough_or_stands_under_another_one_is_not(
    monkeypatch: pytest.MonkeyPatch, quietly: dict[str, Any]
) -> None:
    played, telling, out = passed(monkeypatch)
    played.becomes("opened", replace(alert(1, "sources-fighting", "now", {"universe": 1}), **quietly))
    telling.look()
    telling.close()
    assert out == []


# ---- from where the command may come ----


def test_it_is_read_from_a_persons_own_settings_or_a_file_that_was_named(tmp_path: Path) -> None:
    here, own, named = tmp_path / "here", tmp_path / "own", tmp_path / "named.toml"
    for folder in (here, own):
        folder.mkdir()
    (own / FILE).write_text('on_alert = ["/a", "b"]')
    assert load(environment={}, here=here, home=own).on_alert == ("/a", "b")
    assert load(environment={}, here=own, home=own).on_alert == ("/a", "b"), "the current folder is the person's own"
    named.write_text("on_alert = []")
    assert load(environment={}, here=here, home=own, config=named).on_alert == ()
    (here / FILE).write_text('on_alert = ["/evil"]')
    with pytest.raises(SettingsError, match="on_alert runs a program, so it is read only from"):
        load(environment={}, here=here, home=own)
    assert load(environment={}, here=here, home=own, config=here / FILE).on_alert == ("/evil",), "it was named"


@pytest.mark.parametrize("text", ['on_alert = "/a"', "on_alert = [1]", "on_alert = {a = 1}", 'on_alert = ["a\\u0000"]'])
def test_a_slip_is_one_sentence(tmp_path: Path, text: str) -> None:
    (tmp_path / FILE).write_text(text)
    with pytest.raises(SettingsError, match="on_alert takes a list of texts in a settings file"):
        load(environment={}, here=tmp_path / "none", home=tmp_path)


@pytest.mark.parametrize("how", ["environment", "option"])
def test_not_by_an_option_or_a_variable(tmp_path: Path, how: str) -> None:
    given = (
        {"environment": {"NETWATCH_ON_ALERT": "/a"}}
        if how == "environment"
        else {"options": {"on_alert": "/a"}, "environment": {}}
    )
    with pytest.raises(SettingsError, match="on_alert takes a list of texts in a settings file"):
        load(here=tmp_path, home=tmp_path, **given)  # type: ignore[arg-type]


def test_a_strangers_folder_runs_nothing(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text(f'on_alert = ["{program(tmp_path, "touch ran")}"]')
    done = netwatch(tmp_path, "watch", "--on", "lo", "--for", "1")
    assert done.returncode == 2
    assert "move it there" in sentence(done)
    assert not (tmp_path / "ran").exists()


# ---- the desktop ----


@pytest.mark.skipif(BUS is None, reason="needs the Debian package dbus-daemon")
@pytest.mark.parametrize(("manager", "body"), [("", "a &lt;b&gt; &amp; c"), ("plain", "a <b> & c")], indirect=["manager"])
def test_a_notice_is_shown_as_it_stands(bus: str, manager: Path, body: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DBUS_SESSION_BUS_ADDRESS", bus)
    assert notice.show("Pond dark", "a <b> & c", "linux") is None
    assert (manager / "noticed").read_text() == f"Pond dark|{body}|2"


def test_no_desktop_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DBUS_SESSION_BUS_ADDRESS", "unix:path=/nowhere")
    assert notice.show("a", "b", "linux") == "no desktop that takes notices was found"
    assert notice.show("a", "b", "win32") == "no desktop that takes notices was found"


def test_a_notice_only_in_the_phase_in_which_it_was_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[tuple[str, str]] = []
    there = threading.Event()
    monkeypatch.setattr(notice, "show", lambda title, text: (shown.append((title, text)), there.set())[0])
    played = Played()
    telling = Telling(played, Settings(words=Words(notice="show")), shown.append)  # type: ignore[arg-type]
    one = alert(1, "sources-fighting", "now", {"universe": 1})
    played.becomes("opened", one)
    telling.look()
    assert not there.wait(0.1)
    played.shot = replace(played.shot, phase="show")
    played.lines.append(Happening(at(2), "phase", "show"))
    telling.look()
    assert there.wait(10)
    telling.look()
    assert shown == [(one.title, one.first_step)]


# ---- the whole ----


@pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))
def test_a_watch_passes_its_alerts_on(net: Lab, tmp_path: Path) -> None:
    """A controller goes silent and comes back."""
    config = tmp_path / "own.toml"
    config.write_text(f'on_alert = ["{program(tmp_path, "cat >> got; pwd > where")}"]\n')
    running = watch("--on", "near", "--from", "mirror", "--phase", "show", "--config", str(config), "--plain")
    got = tmp_path / "got"
    until(lambda: list(tmp_path.rglob("watch-*")), 40)
    desk(3).wait()
    until(lambda: got.exists() and '"opened"' in got.read_text(), 60)
    again = desk(60)
    try:
        until(lambda: '"closed"' in got.read_text(), 60)
    finally:
        again.kill()
        again.wait()
    running.send_signal(signal.SIGINT)
    running.communicate(timeout=30)
    told = [json.loads(line) for line in got.read_text().splitlines()]
    assert [(each["event"], each["alert"]["code"], each["alert"]["severity"]) for each in told][:1] == [
        ("opened", "source-lost", "now")
    ]


@pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))
def test_a_command_that_hangs_does_not_hold_the_watch_up(net: Lab, tmp_path: Path) -> None:
    config = tmp_path / "own.toml"
    config.write_text(f'on_alert = ["{program(tmp_path, "touch ran; sleep 100")}"]\nhook_s = 1.0\n')
    running = watch("--on", "near", "--from", "mirror", "--phase", "show", "--config", str(config), "--plain")
    until(lambda: list(tmp_path.rglob("watch-*")), 40)
    desk(3).wait()
    until((tmp_path / "ran").exists, 60)
    assert running.stdout is not None
    line = next(line for line in running.stdout if "on_alert" in line)
    assert "telling" in line
    assert "was ended, because it took more than 1 s" in line
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    assert "gatehouse desk" in out
    assert "Traceback" not in err
