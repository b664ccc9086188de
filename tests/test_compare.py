"""``netwatch compare`` as a shell sees it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from netwatch.packets.files import open_captures
from tests.packets.made import pcap
from tests.record.fed import session
from tests.stories import frames
from tests.stories.boxes import BACKUP, DESK, Box
from tests.stories.playing import NS, START
from tests.test_cli import netwatch, sentence


def capture(path: Path, *sources: Box) -> Path:
    """Two seconds of one universe."""
    path.write_bytes(pcap((frames.e131(each, 1, i, bytes(512)), START + i * NS // 40) for i in range(80) for each in sources))
    return path


@pytest.fixture
def days(tmp_path: Path) -> tuple[Path, Path]:
    """On the second one two desks send the same universe."""
    return capture(tmp_path / "one.pcap", DESK), capture(tmp_path / "two.pcap", DESK, BACKUP)


def test_what_differs_and_the_exit_code(days: tuple[Path, Path], tmp_path: Path) -> None:
    done = netwatch(tmp_path, "compare", *days)
    assert done.returncode == 1
    assert "1 difference of B against A, worst first." in done.stdout.decode()
    assert netwatch(tmp_path, "compare", *days, "--fail-on", "now").returncode == 0
    same = netwatch(tmp_path, "compare", days[0], days[0])
    assert (same.returncode, b"Nothing differs" in same.stdout) == (0, True)


def test_json(days: tuple[Path, Path], tmp_path: Path) -> None:
    made = json.loads(netwatch(tmp_path, "compare", *days, "--json").stdout)
    assert (made["schema"], [each["what"] for each in made["differences"]]) == (1, ["source-new"])
    assert made["a"]["packets"] * 2 == made["b"]["packets"] == 160


def test_a_journal_and_the_capture_that_it_was_made_of_are_alike(days: tuple[Path, Path], tmp_path: Path) -> None:
    run = session(open_captures([days[1]]), tmp_path / "night")
    run.start()
    run.wait(None)
    run.stop()
    done = netwatch(tmp_path, "compare", days[1], tmp_path / "night")
    assert (done.returncode, b"Nothing differs" in done.stdout) == (0, True), done.stdout.decode()


@pytest.mark.parametrize(
    ("what", "code", "why"),
    [
        ("missing.pcap", 3, "does not exist"), ("letter.txt", 3, "is not a capture file"), ("none.pcap", 4, "nothing to compare"),
        ("bad.sqlite", 3, "is no journal of netwatch"),
    ],
)  # fmt: skip
def test_bad_input_is_one_sentence(days: tuple[Path, Path], tmp_path: Path, what: str, code: int, why: str) -> None:
    (tmp_path / "letter.txt").write_text("Dear all")
    (tmp_path / "bad.sqlite").write_text("Dear all, this is a long letter." * 100)
    (tmp_path / "none.pcap").write_bytes(pcap([]))
    for order in ((days[0], what), (what, days[0])):
        done = netwatch(tmp_path, "compare", *order)
        assert done.returncode == code
        assert why in sentence(done)


def test_what_was_cut_short_is_compared_and_not_trusted(days: tuple[Path, Path], tmp_path: Path) -> None:
    days[0].write_bytes(days[0].read_bytes()[:-10])
    done = netwatch(tmp_path, "compare", days[0], days[0])
    assert done.returncode == 4
    assert b"A is not whole" in done.stdout


def test_standard_input_can_be_only_one_of_them(tmp_path: Path) -> None:
    assert "not both" in sentence(netwatch(tmp_path, "compare", "-", "-"))
