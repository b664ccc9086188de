"""``netwatch report`` as a shell sees it. ZIP and sums are read with the standard library; the rest is our own."""

from __future__ import annotations

import hashlib
import json
import shutil
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from netwatch.packets.files import open_captures
from tests.packets.made import pcap
from tests.record.fed import session
from tests.stories import frames
from tests.stories.playing import NS, START
from tests.test_cli import Done, netwatch, sentence

DEMO = Path(__file__).resolve().parent.parent / "captures" / "01-first-evening.pcapng.gz"


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """Two seconds of one universe."""
    path = tmp_path / "small.pcap"
    path.write_bytes(pcap((frames.e131("gatehouse desk", 1, i, bytes(512)), START + i * NS // 40) for i in range(80)))
    return path


def said(done: Done) -> str:
    return done.stderr.decode()


def test_a_page_is_written_for_its_owner_alone(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    done = netwatch(tmp_path, "report", small, "-o", out, "--job", "Winter <trail>")
    assert (done.returncode, done.stdout) == (0, b"")
    assert said(done) == f"netwatch: Written: {out}\n"
    assert "Winter &lt;trail&gt;" in out.read_text(encoding="utf-8")
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
    assert [each.name for each in tmp_path.iterdir() if each.name.startswith(".")] == []


def test_it_is_written_anew_but_never_over_somebody_elses_file(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    for _ in range(2):
        assert netwatch(tmp_path, "report", small, "-o", out).returncode == 0
    before = small.read_bytes()
    done = netwatch(tmp_path, "report", DEMO, "-o", small)
    assert done.returncode == 2
    assert "is no report of netwatch" in sentence(done)
    assert small.read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "code", "why"),
    [
        (["-o", "missing/report.html"], 3, "there is no folder missing"),
        (["--whole"], 2, "go with --bundle"),
        (["--bundle", "b.zip", "--whole", "--headers-only"], 2, "exclude each other"),
        (["--for", "uncle"], 2, "invalid choice"),
    ],
)
def test_what_is_wrong_is_told_in_one_sentence(small: Path, tmp_path: Path, arguments: list[str], code: int, why: str) -> None:
    done = netwatch(tmp_path, "report", small, *arguments)
    assert done.returncode == code
    assert why in sentence(done)


def test_a_capture_without_packets_is_told_and_nothing_is_written(tmp_path: Path) -> None:
    (tmp_path / "none.pcap").write_bytes(pcap([]))
    done = netwatch(tmp_path, "report", "none.pcap", "-o", "report.html")
    assert done.returncode == 4
    assert "nothing to report" in sentence(done)
    assert not (tmp_path / "report.html").exists()


def test_no_capture_is_told(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("Dear all")
    done = netwatch(tmp_path, "report", "letter.txt", "-o", "report.html")
    assert done.returncode == 3
    assert "is not a capture file" in sentence(done)


def test_a_capture_that_is_cut_short_is_reported_and_not_trusted(small: Path, tmp_path: Path) -> None:
    small.write_bytes(small.read_bytes()[:-10])
    done = netwatch(tmp_path, "report", small, "-o", "report.html")
    assert done.returncode == 4
    assert "all before it was read" in said(done)
    assert "Limited." in (tmp_path / "report.html").read_text(encoding="utf-8")


def test_without_a_file_it_goes_to_standard_output(small: Path, tmp_path: Path) -> None:
    done = netwatch(tmp_path, "report", small, "--for", "rental")
    assert done.stdout.startswith(b"<!doctype html>")
    assert netwatch(tmp_path, "report", small, "--for", "it").stdout.startswith(b"<!doctype html>")


def test_json_adds_to_the_document(small: Path, tmp_path: Path) -> None:
    made = json.loads(netwatch(tmp_path, "report", small, "--json").stdout)
    assert made["schema"] == 1
    assert made["report"]["course"]["streams"][0]["universe"] == 1
    assert sum(made["report"]["course"]["streams"][0]["packets"]) == 80
    assert len(made["report"]["in_short"]) == 3


def test_a_bundle_proves_itself(tmp_path: Path) -> None:
    out = tmp_path / "night.zip"
    assert netwatch(tmp_path, "report", DEMO, "--bundle", out, "--from", "ordinary").returncode == 0
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
    with zipfile.ZipFile(out) as file:
        parts = {name: file.read(name) for name in file.namelist()}
    sums = dict(reversed(line.split("  ")) for line in parts["SHA256SUMS"].decode().splitlines())  # type: ignore[misc]
    assert set(sums) == set(parts) - {"SHA256SUMS"}
    assert all(hashlib.sha256(parts[name]).hexdigest() == wanted for name, wanted in sums.items())
    assert "netwatch replay --from=ordinary slices/slice-01.pcapng" in parts["README.txt"].decode()
    slice_ = tmp_path / "slice.pcapng"
    slice_.write_bytes(parts["slices/slice-01.pcapng"])
    found = json.loads(netwatch(tmp_path, "replay", slice_, "--json").stdout)
    assert "two-dhcp-servers" in {each["code"] for each in found["alerts"]}


def test_a_bundle_of_standard_input_is_refused(tmp_path: Path) -> None:
    assert "save it as a file" in sentence(netwatch(tmp_path, "report", "-", "--bundle", "b.zip"))


# ---- of a journal ----


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a session that played the demo."""
    folder = tmp_path_factory.mktemp("session")
    run = session(open_captures([DEMO]), folder)
    run.start()
    run.wait(None)
    run.stop()
    return folder


def test_a_page_of_a_journal_tells_what_that_of_its_capture_tells(journal: Path, tmp_path: Path) -> None:
    made, wanted = (json.loads(netwatch(tmp_path, "report", path, "--json").stdout) for path in (journal, DEMO))
    assert made["report"]["in_short"] == wanted["report"]["in_short"]
    assert made["report"]["devices"] == wanted["report"]["devices"]
    for part in ("streams", "hosts", "dhcp_servers", "queriers", "checks"):
        assert made[part] == wanted[part]
    done = netwatch(tmp_path, "report", journal, "-o", "report.html")
    assert done.returncode == 0
    assert "Multicast dropped after 47 s" in (tmp_path / "report.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("make", "why"),
    [
        (lambda path: path.write_text("Dear all"), "is no journal of netwatch"),
        (lambda path: path.write_bytes(path.read_bytes()[:5000]), "is damaged"),
        (lambda path: path.write_bytes(path.read_bytes().replace(b"CREATE TABLE alert", b"CREATE TABLE alarm")), "is damaged"),
        (lambda path: path.unlink(), "as long as its journal is there"),
    ],
)
def test_a_journal_that_can_not_be_read_is_told(journal: Path, tmp_path: Path, make: Callable[[Path], object], why: str) -> None:
    folder = tmp_path / "session"
    shutil.copytree(journal, folder)
    make(folder / "journal.sqlite")
    done = netwatch(tmp_path, "report", folder, "-o", "report.html")
    assert done.returncode == 3
    assert why in sentence(done)
    assert not (tmp_path / "report.html").exists()


def test_a_journal_is_reported_alone(journal: Path, tmp_path: Path) -> None:
    done = netwatch(tmp_path, "report", journal, DEMO)
    assert done.returncode == 2
    assert "read alone" in sentence(done)
