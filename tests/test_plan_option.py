"""``--plan`` of replay and watch as a shell sees it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest

from netwatch.cli import main
from tests import lab
from tests.lab import Lab
from tests.stories.boxes import POND, STRANGER, WALK
from tests.stories.frames import announce
from tests.test_watch import watch

FIRST = 1795615300
"""2026-11-25 14:01:40 UTC, when the evening's first packet came."""
ROOT = Path(__file__).resolve().parent.parent
EVENING, GARDEN = str(ROOT / "captures" / "02-a-long-evening.pcapng.gz"), str(ROOT / "captures" / "garden.toml")


def test_the_demo_against_the_garden(capsys: pytest.CaptureFixture[str]) -> None:
    """What happens in the capture stands in captures/README.md: the kiosk's router gives addresses, the visitor desk sends."""
    main(["replay", EVENING, "--plain", "--plan", GARDEN])
    shown = capsys.readouterr().out
    text = " ".join(shown.split())
    assert "AGAINST THE PLAN: Hollowbrook Garden 5 of 40 here as planned, 4 differ, 31 not heard, 2 extra." in text
    assert "orchard, Orchard, hut (found by its name): address 192.168.77.86 instead of one by DHCP" in text
    assert "Where mill pond: Mill pond, jetty (asset HG-109)." in text
    assert "Cloud pergola, east: pixel 5 (2.0.0.25)." in text
    assert max(map(len, shown.splitlines())) <= 80


def test_the_same_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    main(["replay", EVENING, "--json", "--plan", GARDEN])
    found = json.loads(capsys.readouterr().out)["plan"]
    assert [found[each] for each in ("here", "differs", "missing", "extra")] == [5, 4, 31, 2]
    assert {each["name"]: each["by"] for each in found["devices"] if each["state"] == "here"} == {
        "core switch": "address", "rack": "address", "lantern walk": "address", "mill pond": "address", "ice arch": "address",
    }  # fmt: skip


def test_the_show_of_a_recorded_evening(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Local times of the plan, whatever zone this machine is in; the person's word goes before the plan's."""
    begin, end = (datetime.fromtimestamp(FIRST + minutes * 60) for minutes in (3, 7))
    plan = tmp_path / "show.toml"
    plan.write_text(f"[[show]]\nbegin = {begin.isoformat()}\nend = {end.isoformat()}\n", encoding="utf-8")
    main(["replay", EVENING, "--plain", "--plan", str(plan)])
    said = f"Phase From {begin:%H:%M:%S} show and from {end:%H:%M:%S} building."
    assert said in " ".join(capsys.readouterr().out.split())
    main(["replay", EVENING, "--json", "--plan", str(plan)])
    assert json.loads(capsys.readouterr().out)["phase"] == {
        "now": "building", "changes": [{"at": FIRST + 180.0, "phase": "show"}, {"at": FIRST + 420.0, "phase": "building"}],
    }  # fmt: skip
    main(["replay", EVENING, "--json", "--plan", str(plan), "--phase", "show"])
    assert json.loads(capsys.readouterr().out)["phase"] == {"now": "show", "changes": []}


def test_a_spreadsheet_will_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = tmp_path / "boxes.csv"
    sheet.write_text("Name;Place;IP;Colour\ngatehouse desk;Gatehouse;10.77.0.10;red\nhut;Orchard;10.77.0;\n", encoding="utf-8")
    main(["replay", EVENING, "--plain", "--plan", str(sheet)])
    text = " ".join(capsys.readouterr().out.split())
    assert "AGAINST THE PLAN 1 of 2 here as planned" in text
    assert "column C (IP): '10.77.0' is no address" in text


@pytest.mark.parametrize("verb", ["replay", "watch"])
@pytest.mark.parametrize(("name", "content", "said"), [
    ("none.toml", None, "this plan can't be read"),
    ("rig.toml", "[[device]]\nname = 'a'\nadress = '10.0.0.1'\n", "no key 'adress' in [[device]] 1; did you mean 'address'?"),
    ("sheet.csv", "a;b\n1;2\n", "no row of headings was found"),
])
def test_a_plan_that_can_not_be_read(
    verb: str, name: str, content: str | None, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Told before anything is read or opened."""
    path = tmp_path / name
    if content is not None:
        path.write_text(content, encoding="utf-8")
    assert main([verb, *([EVENING] if verb == "replay" else []), "--plain", "--plan", str(path)]) == 2
    out, complaint = capsys.readouterr()
    assert (out, complaint.count("\n")) == ("", 1)
    assert said in complaint


@pytest.fixture
def net(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Lab]:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    with lab.lab() as made:
        made.pair("far", "near", "10.0.0.99/16")
        yield made


@pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))
def test_live_the_list_shrinks(net: Lab, tmp_path: Path) -> None:
    """One box after the other comes alive; each gets its line, and the program ends when the last one did."""
    plan = tmp_path / "rig.toml"
    devices = (("walk", "First arch", "address", WALK.address), ("pond", "Jetty", "mac", POND.mac))
    text = (f'[[device]]\nname = "{name}"\nplace = "{place}"\n{key} = "{value}"\n' for name, place, key, value in devices)
    plan.write_text("".join(text), encoding="utf-8")
    program = watch("--on", "near", "--from", "mirror", "--for", "60", "--plain", "--plan", str(plan))
    assert program.stdout is not None
    lines: list[str] = []
    for box, word in ((WALK, "walk"), (POND.at("10.0.7.7"), "pond"), (STRANGER, "192.168.77.1")):
        while not any(word in line for line in lines):
            net.send("far", announce(box))
            lines.append(program.stdout.readline())
    program.kill()
    program.communicate()
    told = [line.split(maxsplit=1)[1].strip() for line in lines if any(word in line for word in ("walk", "pond", "192"))]
    assert told == [
        "here      walk, First arch (found by its address); 1 box was not heard so far",
        "here      pond, Jetty (found by its MAC address); no box of the plan is missing",
        "extra     192.168.77.1 is not in the plan; no box of the plan is missing",
    ]
