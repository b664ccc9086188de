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


GARDEN = ROOT / "captures" / "garden.toml"


def test_the_garden_contradicts_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert netwatch("check", GARDEN) == 0
    shown = capsys.readouterr().out
    assert "40 boxes, 24 universes, 3 subnets." in " ".join(shown.split())
    assert "The plan does not contradict itself." in shown
    assert max(map(len, shown.splitlines())) <= 80


def test_a_contradiction_ends_with_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(GARDEN.read_text(encoding="utf-8").replace("10.77.0.31", "10.77.100.31"), encoding="utf-8")
    assert netwatch("check", path) == 1
    shown = " ".join(capsys.readouterr().out.split())
    assert "lantern walk 2 has the fixed address 10.77.100.31, which the DHCP server gives to others" in shown


def test_what_a_spreadsheet_lacks_is_proposed_and_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("Name;IP;Mask;Sends;Receives\ndesk;10.0.0.10;255.255.255.0;1-2;\nnode;;;;1\nhut;;;;2\n", encoding="utf-8")
    assert netwatch("make", sheet, "-o", tmp_path / "rig.toml") == 1
    shown, complaint = capsys.readouterr()
    assert "node: 10.0.0.11, mask 255.255.255.0 (/24)." in shown
    assert "Which box keeps multicast alive can't be told" in shown
    assert complaint.startswith("netwatch: Wrote ")
    plan = read(tmp_path / "rig.toml")
    assert [str(each.address) for each in plan.devices] == ["10.0.0.10", "10.0.0.11", "10.0.0.12"]
    assert [(each.sacn, each.artnet) for each in plan.numbering] == [(1, 0), (2, 1)]
    assert sheet.read_text(encoding="utf-8").startswith("Name;IP")
    (tmp_path / "rig.toml").write_text("old", encoding="utf-8")
    assert netwatch("make", sheet, "-o", tmp_path / "rig.toml", "--force") == 1
    assert read(tmp_path / "rig.toml") == plan
    assert {each.name for each in tmp_path.iterdir()} == {"sheet.csv", "rig.toml"}


@pytest.mark.parametrize("words", [[], ["--for", "it"]])
def test_the_sheet_is_written_whole_or_not_at_all(words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "sheet.html"
    assert netwatch("sheet", GARDEN, *words, "-o", path) == 0
    first = path.read_text(encoding="utf-8")
    assert first.startswith("<!doctype html>")
    assert first.rstrip().endswith("</html>")
    assert netwatch("sheet", GARDEN, *words, "-o", path) == 0  # a page of ours is written anew
    path.write_text("mine", encoding="utf-8")
    assert netwatch("sheet", GARDEN, *words, "-o", path) == 2
    assert path.read_text(encoding="utf-8") == "mine"
    capsys.readouterr()
    assert netwatch("sheet", GARDEN, *words) == 0
    assert capsys.readouterr().out.rstrip() == first.rstrip()


@pytest.mark.parametrize(("words", "code", "said"), [
    ([], 2, "WHAT"),
    (["form"], 2, "invalid choice: 'form'"),
    (["from"], 2, "CAPTURE"),
    (["from", "none.pcap"], 3, "none.pcap"),
    (["check"], 2, "PLAN"),
    (["check", "none.toml"], 2, "none.toml: this plan can't be read"),
    (["check", "there.toml"], 2, "there.toml: this is not TOML"),
    (["sheet"], 2, "PLAN"),
    (["sheet", "none.toml"], 2, "none.toml: this plan can't be read"),
    (["sheet", str(GARDEN), "--for", "her"], 2, "invalid choice: 'her'"),
    (["sheet", str(GARDEN), "-o", "no/sheet.html"], 3, "there is no folder no"),
    (["make", "none.csv"], 2, "none.csv: this spreadsheet can't be read"),
    (["make", str(GARDEN), "-o", "there.toml"], 2, "is there already and was kept"),
    (["from", EVENING, "-o", "no/rig.toml"], 3, "no/rig.toml: there is no folder no"),
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
