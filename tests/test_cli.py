"""The command line as a shell sees it: exit codes, one sentence for everything that is wrong, never a traceback."""

from __future__ import annotations

import contextlib
import gzip
import io
import json
import os
import struct
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

import pytest
import sacn.messages.data_packet

from netwatch.cli import main
from netwatch.commands import output
from netwatch.packets import files
from netwatch.packets.batch import Item
from netwatch.packets.files import Captures, open_captures

ROOT = Path(__file__).resolve().parent.parent
PYTHON = (sys.executable, "-P", "-m", "netwatch")


def environment(home: Path) -> dict[str, str]:
    """This machine's environment without settings of ours."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("NETWATCH_")}
    return {**kept, "PYTHONPATH": str(ROOT), "XDG_CONFIG_HOME": str(home / "config"),
            "XDG_STATE_HOME": str(home / "state"), "COLUMNS": "100"}  # fmt: skip


@dataclass(frozen=True)
class Done:
    """How a run of the program ended, and what it wrote."""

    returncode: int
    stdout: bytes
    stderr: bytes


def netwatch(here: Path, *arguments: str | Path, **variables: str) -> Done:
    """Run the program in a folder, inside this process: a start of Python for each run would take too long."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    surroundings = mock.patch.dict(os.environ, {**environment(here), **variables}, clear=True)
    with contextlib.chdir(here), surroundings, contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = main([str(argument) for argument in arguments])
        except SystemExit as end:  # argparse ends a verb's help so
            code = int(end.code or 0)
    out.flush()
    err.flush()
    return Done(code, out.buffer.getvalue(), err.buffer.getvalue())


def shell(here: Path, *arguments: str | Path, given: bytes = b"", **variables: str) -> Done:
    """Run the program as a shell does, in a process of its own."""
    done = subprocess.run(
        [*PYTHON, *map(str, arguments)], cwd=here, env={**environment(here), **variables}, input=given,
        capture_output=True, timeout=60, check=False,
    )
    assert b"Traceback" not in done.stderr, done.stderr.decode()
    return Done(done.returncode, done.stdout, done.stderr)


def sentence(done: Done) -> str:
    """The one line on standard error; nothing may stand on standard output beside it."""
    text = done.stderr.decode()
    assert text.startswith("netwatch: "), text
    assert text.endswith((".\n", "?\n")), text
    assert text.count("\n") == 1, text
    assert done.stdout == b""
    return text


def ethernet(payload: bytes, group: bytes = bytes((239, 255, 0, 1)), port: int = 5568) -> bytes:
    """A UDP datagram in IPv4 and Ethernet (RFC 768, RFC 791, RFC 894; multicast MAC by RFC 1112 6.4)."""
    udp = struct.pack(">HHHH", 5568, port, 8 + len(payload), 0) + payload
    head = struct.pack(">BBHHHBBH4s4s", 0x45, 0, 20 + len(udp), 1, 0, 64, 17, 0, bytes((10, 0, 0, 10)), group)
    total = sum(struct.unpack(">10H", head))
    total = (total & 0xFFFF) + (total >> 16)
    head = head[:10] + struct.pack(">H", ~(total + (total >> 16)) & 0xFFFF) + head[12:]
    mac = b"\x01\x00\x5e" + bytes((group[1] & 0x7F, group[2], group[3]))
    return mac + bytes.fromhex("020000000010") + b"\x08\x00" + head + udp


def pcap(frames: Sequence[tuple[float, bytes]], link_type: int = 1) -> bytes:
    """A capture file as the pcap draft describes it (draft-ietf-opsawg-pcap 4 and 5)."""
    records = (
        struct.pack("<IIII", int(at), round(at % 1 * 1e6), len(frame), len(frame)) + frame for at, frame in frames
    )
    return struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65_535, link_type) + b"".join(records)


def desk(seconds: float, name: str = "Gatehouse", begin: float = 1_700_000_000.0) -> list[tuple[float, bytes]]:
    """A healthy controller on universe 1 at 40 Hz; frames made by the sacn library."""
    packet = sacn.messages.data_packet.DataPacket((7,) * 16, "x", 1, (0,) * 512, priority=100)
    frames = []
    for k in range(int(seconds * 40)):
        packet.sequence = k % 256
        body = bytearray(packet.getBytes())
        body[44:108] = name.encode()[:63].ljust(64, b"\0")  # E1.31-2018 6.2.2: 64 octets of UTF-8, zero-ended
        frames.append((begin + k * 0.025, ethernet(bytes(body))))
    return frames


@pytest.fixture
def good(tmp_path: Path) -> Path:
    """A capture of five healthy seconds."""
    path = tmp_path / "good.pcap"
    path.write_bytes(pcap(desk(5)))
    return path


# ---- help and usage ----


@pytest.mark.parametrize("arguments", [["--help"], ["-h"], ["help"], ["replay", "--help"], ["settings", "-h"]])
def test_help_has_examples_first_and_the_exit_codes(tmp_path: Path, arguments: list[str]) -> None:
    done = netwatch(tmp_path, *arguments)
    text = done.stdout.decode()
    assert done.returncode == 0
    assert done.stderr == b""
    assert text.index("Examples:") < text.index("Exit codes:")
    assert text.index("Examples:") < text.find("usage:") or "usage:" not in text
    for code in ("0", "1", "2", "3", "4", "130"):
        assert f"\n  {code} " in text
    assert max(map(len, text.splitlines())) <= 100


def test_version(tmp_path: Path) -> None:
    assert netwatch(tmp_path, "--version").stdout.startswith(b"netwatch ")


@pytest.mark.parametrize(("arguments", "said"), [
    ([], "netwatch replay FILE"),
    (["rplay", "x"], "did you mean 'netwatch replay'?"),
    (["show.pcapng"], "'netwatch replay show.pcapng'"),
    (["\x1b[31mred"], "There is no '\\x1b[31mred'"),
    (["replay"], "FILE"),
    (["replay", "--jsn", "x"], "--jsn"),
    (["replay", "--js", "x"], "--js"),
    (["replay", "x", "--fail-on", "never"], "'never'"),
    (["replay", "x", "--from", "hub"], "'hub'"),
    (["replay", "x", "--set", "hole_s"], "KEY=VALUE"),
    (["replay", "x", "--set", "hole=3"], "did you mean 'hole_s'?"),
    (["replay", "x", "--set", "hole_s=long"], "takes a number"),
    (["replay", "x", "--config", "none.toml"], "none.toml"),
])
def test_usage_errors_exit_with_2(tmp_path: Path, arguments: list[str], said: str) -> None:
    done = netwatch(tmp_path, *arguments)
    assert said in sentence(done)
    assert done.returncode == 2


def test_a_bad_settings_file_exits_with_2(tmp_path: Path, good: Path) -> None:
    (tmp_path / "netwatch.toml").write_text("sorce_silent_s = 3\n")
    done = netwatch(tmp_path, "replay", good)
    assert done.returncode == 2
    assert "netwatch.toml: there is no setting 'sorce_silent_s'; did you mean 'source_silent_s'?" in sentence(done)
    (tmp_path / "netwatch.toml").write_text("hole_s = 3\nfail_on soon\n")
    assert "netwatch.toml, line 2: this is not TOML" in sentence(netwatch(tmp_path, "replay", good))
    assert "NETWATCH_HOLE: there is no" in sentence(netwatch(tmp_path / "..", "replay", good, NETWATCH_HOLE="3"))


def test_settings_can_be_read_back(tmp_path: Path) -> None:
    first = netwatch(tmp_path, "settings", "--set", "hole_s=3", "--set", "source_silent_s=4.5", "--fail-on", "tidy")
    (tmp_path / "netwatch.toml").write_bytes(first.stdout)
    text = netwatch(tmp_path, "settings").stdout.decode()
    assert {"hole_s = 3.0", "source_silent_s = 4.5", 'fail_on = "tidy"'} <= set(text.splitlines())
    assert "source_silent_s = 4.5 s, not the standard's 2.5" in text


# ---- files that can't be read ----


BAD = ("missing.pcap", "empty.pcap", "foreign.pcap", "folder", "short.pcap", "text.pcap.gz")


def make_bad(folder: Path) -> dict[str, Path]:
    """Inputs of which nothing can be read."""
    made = {name: folder / name for name in BAD}
    made["empty.pcap"].touch()
    made["foreign.pcap"].write_bytes(b"%PDF-1.7 and so on" * 50)
    made["folder"].mkdir()
    made["short.pcap"].write_bytes(pcap([])[:10])
    made["text.pcap.gz"].write_bytes(gzip.compress(b"just some text " * 20))
    return made


@pytest.mark.parametrize("name", BAD)
@pytest.mark.parametrize("form", [[], ["--json"]])
def test_what_is_no_capture_exits_with_3(tmp_path: Path, name: str, form: list[str]) -> None:
    done = netwatch(tmp_path, "replay", make_bad(tmp_path)[name], *form)
    assert done.returncode == 3
    assert name in sentence(done)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="whoever may read everything can't be refused")
def test_a_file_that_may_not_be_read_exits_with_3(tmp_path: Path, good: Path) -> None:
    good.chmod(0)
    assert netwatch(tmp_path, "replay", good).returncode == 3


def test_no_packets_is_told_and_not_taken_for_health(tmp_path: Path) -> None:
    path = tmp_path / "nothing.pcap"
    path.write_bytes(pcap([]))
    done = netwatch(tmp_path, "replay", path)
    assert done.returncode == 4
    assert b"no packet" in (done.stdout + done.stderr).lower()


def test_a_link_type_that_is_not_known_is_told(tmp_path: Path) -> None:
    """Link type 105 (IEEE 802.11) of the LINKTYPE registry is not decoded: a file of nothing else is no sign of health."""
    path = tmp_path / "radio.pcap"
    path.write_bytes(pcap([(1.0, bytes(80))], link_type=105))
    done = netwatch(tmp_path, "replay", path)
    assert done.returncode == 4
    assert b"link type 105" in (done.stdout + done.stderr).lower()


def test_exit_codes_reach_the_shell(tmp_path: Path) -> None:
    assert shell(tmp_path, "replay").returncode == 2
    done = shell(tmp_path, "replay", "missing.pcap")
    assert done.returncode == 3
    assert "missing.pcap" in sentence(done)


# ---- captures ----


def test_a_healthy_capture(tmp_path: Path, good: Path) -> None:
    done = netwatch(tmp_path, "replay", good)
    assert (done.returncode, done.stderr) == (0, b"")
    assert done == shell(tmp_path, "replay", good)
    assert b"\x1b" not in done.stdout, "no colours where nobody looks"
    found = json.loads(netwatch(tmp_path, "replay", good, "--json").stdout)
    assert found["schema"] == 1
    assert found["capture"]["packets"] == 200
    assert [stream["name"] for stream in found["streams"]] == ["Gatehouse"]
    assert [file["packets"] for file in found["capture"]["files"]] == [200]


def test_standard_input_and_gzip_give_the_same(tmp_path: Path, good: Path) -> None:
    packed = tmp_path / "good.pcap.gz"
    packed.write_bytes(gzip.compress(good.read_bytes()))
    plain, pipe, zipped = (
        json.loads(shell(tmp_path, "replay", "--json", path, given=given).stdout)
        for path, given in ((good, b""), ("-", good.read_bytes()), (packed, b""))
    )
    for found in (plain, pipe, zipped):
        del found["capture"]["files"]
    assert plain == pipe == zipped


def test_a_file_cut_short_is_told_and_exits_with_4(tmp_path: Path, good: Path) -> None:
    good.write_bytes(good.read_bytes()[:-100])
    done = netwatch(tmp_path, "replay", good)
    assert done.returncode == 4
    assert b"cut short" in done.stdout + done.stderr
    done = netwatch(tmp_path, "replay", good, "--json")
    assert done.returncode == 4
    assert json.loads(done.stdout)["capture"]["packets"] == 199
    assert b"cut short" in done.stderr


def test_a_second_file_that_is_no_capture_is_told_before_anything_is_read(tmp_path: Path, good: Path) -> None:
    done = netwatch(tmp_path, "replay", good, "missing.pcap")
    assert done.returncode == 3
    assert "missing.pcap" in sentence(done)


def silent(path: Path) -> Path:
    """A controller that stops without signing off, and a packet of something else 50 s later."""
    path.write_bytes(pcap([*desk(10), (1_700_000_060.0, ethernet(b"tick", port=9))]))
    return path


def test_fail_on_decides_between_1_and_0(tmp_path: Path) -> None:
    path = silent(tmp_path / "silent.pcap")
    severities = {alert["severity"] for alert in json.loads(netwatch(tmp_path, "replay", path, "--json").stdout)["alerts"]}
    assert severities, "a stream that stops is told"
    order = ["note", "tidy", "quality", "soon", "now"]
    worst = max(map(order.index, severities))
    for level, severity in enumerate(order):
        done = netwatch(tmp_path, "replay", path, "--fail-on", severity)
        assert done.returncode == (1 if level <= worst else 0), severity


def test_settings_reach_the_engine_and_are_listed(tmp_path: Path, good: Path) -> None:
    (tmp_path / "netwatch.toml").write_text("source_silent_s = 4.0\n")
    found = json.loads(netwatch(tmp_path, "replay", good, "--json").stdout)
    assert found["capture"]["settings"] == {"source_silent_s": 4.0}
    assert b"source_silent_s = 4 s, not the standard's 2.5" in netwatch(tmp_path, "replay", good).stdout


def test_from_overrides_where_we_listen(tmp_path: Path, good: Path) -> None:
    found = json.loads(netwatch(tmp_path, "replay", good, "--json", "--from", "mirror").stdout)
    assert [place["from"] for place in found["capture"]["listening"]] == ["mirror"]


@pytest.mark.parametrize("name", ["\x1b]0;owned\x07\x1b[2J", "[bold red]x[/]", "a\r\nb\x9b31m", "\u202eabc"])
def test_a_name_from_the_wire_cannot_steer_the_terminal(tmp_path: Path, name: str) -> None:
    path = tmp_path / "name.pcap"
    path.write_bytes(pcap([*desk(2, name), (1_700_000_060.0, ethernet(b"tick", port=9))]))
    done = netwatch(tmp_path, "replay", path)
    text = done.stdout.decode()
    assert [sign for sign in text if not sign.isprintable() and sign != "\n"] == []
    assert done.stderr == b""


def test_a_name_that_is_no_utf8_is_shown_somehow(tmp_path: Path) -> None:
    frames = [(at, frame.replace(b"Gatehouse", b"Gate\xff\xfe\xc3se")) for at, frame in desk(2)]
    path = tmp_path / "name.pcap"
    path.write_bytes(pcap(frames))
    for form in ([], ["--json"]):
        done = shell(tmp_path, "replay", path, *form, PYTHONIOENCODING="ascii")
        assert done.returncode == 0
        assert b"Gate" in done.stdout


# ---- output that goes away, a person who stops it ----


@pytest.mark.parametrize("arguments", [["--help"], ["replay", "--help"], ["settings"], ["replay", "good.pcap", "--json"]])
def test_a_reader_that_goes_away_is_no_fault(tmp_path: Path, good: Path, arguments: list[str]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [*PYTHON, *arguments], cwd=tmp_path, env=environment(tmp_path), stdout=writing, stderr=subprocess.PIPE,
        timeout=60, check=False,
    )
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_a_full_disk_is_one_sentence(tmp_path: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [*PYTHON, "settings"], cwd=tmp_path, env=environment(tmp_path), stdout=full, stderr=subprocess.PIPE,
            timeout=60, check=False,
        )
    assert done.returncode == 3
    assert done.stderr.decode().startswith("netwatch: The result could not be written")


class Interrupted:
    """A source whose reading somebody stops after its last item."""

    def __init__(self, source: Captures) -> None:
        self._source = source

    def __getattr__(self, name: str) -> object:
        return getattr(self._source, name)

    def __iter__(self) -> Iterator[Item]:
        yield from self._source
        raise KeyboardInterrupt


def test_ctrl_c_tells_what_was_read_and_exits_with_130(
    tmp_path: Path, good: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(files, "open_captures", lambda paths: Interrupted(open_captures(paths)))
    assert main(["replay", str(good), "--json"]) == 130
    out, err = capsys.readouterr()
    assert err == "netwatch: Stopped before the end of the input; what was read until then was used.\n"
    assert json.loads(out)["capture"]["packets"] == 200


class Terminal(io.StringIO):
    """Standard error on a terminal."""

    def isatty(self) -> bool:
        return True


def test_progress_is_shown_on_a_terminal_and_taken_away_again(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter([0.0, 0.5, 1.5, 1.6, 2.0])
    monkeypatch.setattr(output.time, "monotonic", lambda: next(clock))
    monkeypatch.setattr(sys, "stderr", Terminal())
    progress = output.Progress()
    progress.show(10, 100)
    assert sys.stderr.getvalue() == "", "short work shows nothing"
    progress.show(50_000_000, 100_000_000)
    assert sys.stderr.getvalue() == "\rReading:  50% of 100 MB "
    progress.clear()
    assert sys.stderr.getvalue().endswith(" \r")


def test_no_progress_where_nobody_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(output, "FIRST_SHOWN_S", 0.0)
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    progress = output.Progress()
    progress.show(50, 100)
    progress.clear()
    assert sys.stderr.getvalue() == ""


@pytest.mark.parametrize(("variables", "plain", "expected"), [
    ({}, False, True), ({}, True, False), ({"NO_COLOR": "1"}, False, False), ({"NO_COLOR": ""}, False, True),
    ({"TERM": "dumb"}, False, False),
])
def test_colour(monkeypatch: pytest.MonkeyPatch, variables: dict[str, str], plain: bool, expected: bool) -> None:
    """NO_COLOR counts when it is present and not empty (no-color.org)."""
    monkeypatch.setattr(sys, "stdout", Terminal())
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    assert output.colour(plain=plain) is expected
