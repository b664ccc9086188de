"""``netwatch plan`` as a shell sees it: exit codes, one sentence for what is wrong, nothing half-written."""

from __future__ import annotations

from pathlib import Path

import pytest

from netwatch.cli import main
from netwatch.plan.read import read

ROOT = Path(__file__).resolve().parent.parent
EVENING = str(ROOT / "captures" / "02-a-long-evening.pcapng.gz")


def netwatch(*words: str | Path) -> int:
    return main(["plan", *map(str, words)])


def test_a_plan_from_the_demo_capture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What the capture holds stands in captures/README.md."""
    assert netwatch("from", EVENING, "-o", tmp_path / "rig.toml") == 0
    found = {each.name: each for each in read(tmp_path / "rig.toml").devices}
    desk = found["gatehouse desk"]
    assert (str(desk.address), [each.number for each in desk.sends]) == ("10.77.0.10", [1, 2, 3, 4, 5, 6])
    assert found["orchard"].dhcp
    assert "Not only 10.77.0.2 hands out" in (tmp_path / "rig.toml").read_text(encoding="utf-8")
    out, complaint = capsys.readouterr()
    assert out == ""
    assert "11 devices" in complaint


def test_it_is_the_same_on_standard_output(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert netwatch("from", EVENING) == 0
    shown = capsys.readouterr().out
    assert netwatch("from", EVENING, "-o", tmp_path / "rig.toml") == 0
    assert (tmp_path / "rig.toml").read_text(encoding="utf-8").rstrip("\n") == shown.rstrip("\n")


@pytest.mark.parametrize(("words", "code", "said"), [
    ([], 2, "WHAT"),
    (["form"], 2, "invalid choice: 'form'"),
    (["from"], 2, "CAPTURE"),
    (["from", "none.pcap"], 3, "none.pcap"),
    (["from", EVENING, "-o", "no/rig.toml"], 2, "could not be written"),
    (["from", EVENING, "-o", "there.toml"], 2, "is there already and was kept"),
])
def test_slips(
    words: list[str], code: int, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "there.toml").write_text("mine", encoding="utf-8")
    assert netwatch(*words) == code
    out, complaint = capsys.readouterr()
    assert out == ""
    assert said in complaint
    assert complaint.count("\n") == 1
    assert [(each.name, each.read_text(encoding="utf-8")) for each in tmp_path.iterdir()] == [("there.toml", "mine")]
