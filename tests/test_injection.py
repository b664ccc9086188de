"""From packet to paper: hostile names in every field of every packet, mark and file, and each form in which we show them.

A terminal gets nothing that it could obey (ECMA-48: C0 and C1; bidi and zero-width signs of Unicode); a page has the same
elements whatever the names are (HTML parsed by the standard library); JSON and TOML are read back by the standard library.
"""

from __future__ import annotations

import json
import re
import sqlite3
import tomllib
from collections import Counter
from contextlib import closing
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from textual.geometry import Size

from netwatch.commands import telling
from netwatch.numbers import DEFAULTS
from netwatch.packets.files import open_captures
from netwatch.record.readback import FILE, read
from netwatch.report import glance, page
from netwatch.report.brief import Job
from netwatch.screens import boxes, evening, first, light
from netwatch.screens.looks import DARK
from netwatch.story.play import Player
from netwatch.words.hidden import HIDDEN
from tests.hostile import NAMES, capture
from tests.record.fed import session
from tests.test_cli import netwatch

OBEYED = re.compile(f"[{HIDDEN}]")
HARMLESS = "lantern walk"
TERMINAL = {
    "text": ("replay", "--plain"), "levels": ("replay", "--levels", "1/1-4"), "art-net levels": ("replay", "--levels", "a1/1"),
    "why": ("replay", "--plain", "--why", "1", "--see", "dark"), "plan from": ("plan", "from"),
    "compare": ("compare", "other.pcapng"),
}  # fmt: skip
PAGES = {"report": (), "rental": ("--for", "rental"), "IT": ("--for", "it")}


class Structure(HTMLParser):
    """Elements with the names of their attributes, and the text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: Counter[tuple[str, ...]] = Counter()
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements[tag, *(name for name, _ in attrs)] += 1

    def handle_data(self, data: str) -> None:
        self.text += data


def folded(path: Path) -> Player:
    player = Player(DEFAULTS)
    for item in open_captures([path]):
        player.feed(item)
    player.finish()
    return player


def pages(path: Path, folder: Path) -> dict[str, str]:
    """All pages of a capture as they are written."""
    made = {"glance": glance.page(folded(path).snapshot())}
    for name, options in PAGES.items():
        made[name] = netwatch(folder, "report", path, *options, "--job", HARMLESS).stdout.decode()
    return made


@pytest.fixture(scope="module")
def harmless(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Counter[tuple[str, ...]]]:
    """The elements of each page when all names are honest."""
    folder = tmp_path_factory.mktemp("harmless")
    (folder / "night.pcapng").write_bytes(capture(HARMLESS))
    return {name: Structure(html).elements for name, html in pages(folder / "night.pcapng", folder).items()}


@pytest.fixture(scope="module", params=NAMES, ids=lambda name: name.replace(" ", "-"))
def night(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A capture full of one hostile name; its file is called so as well, as far as a file can be."""
    name = NAMES[request.param]
    path = tmp_path_factory.mktemp("night") / f"{name.replace('/', '')}.pcapng"
    path.write_bytes(capture(name))
    path.with_name("other.pcapng").write_bytes(capture(HARMLESS))
    return path, name


def seen(name: str) -> str:
    """A part of the name that can be shown as it is."""
    return max(OBEYED.split(name), key=len).strip()[:8]


def test_a_terminal_is_told_nothing_that_it_could_obey(night: tuple[Path, str]) -> None:
    path, name = night
    for what, words in TERMINAL.items():
        done = netwatch(path.parent, *words, path.name)
        shown = done.stdout.decode() + done.stderr.decode()
        assert not OBEYED.search(shown.replace("\n", "")), what
        assert what != "text" or seen(name) in shown, "it is shown, not left out"


def test_a_page_has_the_same_elements_whatever_the_names_are(
    night: tuple[Path, str], harmless: dict[str, Counter[tuple[str, ...]]]
) -> None:
    path, name = night
    for what, html in pages(path, path.parent).items():
        page = Structure(html)
        assert page.elements == harmless[what], what
        assert not OBEYED.search(page.text.replace("\n", "")), what
        assert what in ("glance", "IT") or seen(name) in page.text, what


def test_what_a_person_types_for_a_page_is_text_too(night: tuple[Path, str]) -> None:
    path, name = night
    words = [f"--{what}={name}" for what in ("job", "by", "socket")]
    html = netwatch(path.parent, "report", path.name, *words).stdout.decode()
    assert not {"script", "img"} & {tag for tag, *_ in Structure(html).elements}
    assert not OBEYED.search(Structure(html).text.replace("\n", ""))


def test_json_holds_names_that_may_be_printed(night: tuple[Path, str]) -> None:
    path, _ = night
    for words in (("replay", "--json"), ("report", "--json")):
        out = netwatch(path.parent, *words, path.name).stdout
        assert out.replace(b"\n", b"").decode("ascii").isprintable()
        assert not [text for text in texts(json.loads(out)) if OBEYED.search(text)], words


def test_what_on_alert_passes_on_may_be_printed(night: tuple[Path, str]) -> None:
    """Each alert as a line of JSON, as a person's own command gets it on its standard input."""
    snapshot = folded(night[0]).snapshot()
    by_id = {each.id: each for each in snapshot.alerts}
    assert len(by_id) >= 4
    for each in snapshot.alerts:
        line = json.dumps(telling._object("opened", each, by_id, snapshot))
        assert line.isascii()
        assert line.isprintable()
        assert not [text for text in texts(json.loads(line)) if OBEYED.search(text)]
        assert not OBEYED.search(each.title + each.first_step), "the desktop's notice"


def test_a_plan_made_of_it_is_a_plan(night: tuple[Path, str]) -> None:
    path, _ = night
    done = netwatch(path.parent, "plan", "from", path.name, "-o", "rig.toml", "--force")
    assert done.returncode == 0, done.stderr
    plan = tomllib.loads((path.parent / "rig.toml").read_text())
    assert "dhcp" not in plan or "x" not in plan["dhcp"]
    assert not [text for text in texts(plan) if OBEYED.search(text)]
    for words in (("plan", "check", "--plain"), ("plan", "make", "--plain")):
        done = netwatch(path.parent, *words, "rig.toml")
        assert not OBEYED.search((done.stdout + done.stderr).decode().replace("\n", ""))
    sheet = Structure(netwatch(path.parent, "plan", "sheet", "rig.toml").stdout.decode())
    assert not {"script", "img"} & {tag for tag, *_ in sheet.elements}


def test_a_plan_that_is_written_so_is_shown_as_text(night: tuple[Path, str]) -> None:
    """TOML may hold any character, escaped."""
    path, name = night
    quoted = json.dumps(name).replace("\\ud83d", "")
    text = f'[[device]]\nname = {quoted}\nplace = {quoted}\naddress = "10.0.0.5"\n{quoted} = 1\n'
    (path.parent / "odd.toml").write_text(text)
    (path.parent / "good.toml").write_text(text.rpartition("\n" + quoted)[0] + "\n")
    table = f'Name,Place,IP,{csv(name)}\n{csv(name)},{csv(name)},10.0.0.5,{csv(name)}\n'
    (path.parent / "good.csv").write_bytes(table.encode())
    for plan in ("odd.toml", "good.toml", "good.csv"):
        checked, made = (("plan", what, "--plain", plan) for what in ("check", "make"))
        for words in (checked, made, ("replay", "--plain", path.name, "--plan", plan)):
            done = netwatch(path.parent, *words)
            assert not OBEYED.search((done.stdout + done.stderr).decode().replace("\n", "")), (plan, words)
        sheet = netwatch(path.parent, "plan", "sheet", plan)
        assert not OBEYED.search(sheet.stderr.decode().replace("\n", ""))
        assert not {"script", "img"} & {tag for tag, *_ in Structure(sheet.stdout.decode()).elements}


def csv(name: str) -> str:
    """RFC 4180 2.5 to 2.7."""
    return '"' + name.replace('"', '""') + '"'


def test_a_journal_holds_names_that_may_be_printed(
    night: tuple[Path, str], tmp_path: Path
) -> None:
    path, _ = night
    run = session(open_captures([path]), tmp_path)
    run.start()
    run.wait(None)
    run.stop()
    with closing(sqlite3.connect(tmp_path / FILE)) as database:
        tables = ("alert", "happening", "view", "stream", "fact")
        rows = [row for table in tables for row in database.execute(f"SELECT * FROM {table}")]
    stored = [each for row in rows for value in row if isinstance(value, str) for each in texts(loaded(value))]
    assert not [text for text in stored if OBEYED.search(text)]
    night_read = read(tmp_path / FILE)
    html = Structure(page.page(night_read, Job()))
    assert not {"script", "img"} & {tag for tag, *_ in html.elements}
    assert not OBEYED.search(html.text.replace("\n", ""))


def loaded(value: str) -> Any:
    try:
        return json.loads(value)
    except ValueError:
        return value


def texts(value: Any) -> list[str]:
    """Every text in plain data, keys too."""
    if isinstance(value, dict):
        return [text for pair in value.items() for each in pair for text in texts(each)]
    if isinstance(value, list):
        return [text for each in value for text in texts(each)]
    return [value] if isinstance(value, str) else []


def test_every_line_of_every_list_on_the_screen_is_plain(night: tuple[Path, str]) -> None:
    """The app itself with hostile names: tests/screens/test_hostile.py."""
    snapshot = folded(night[0]).snapshot()
    for view in (first, light, boxes, evening):
        for row in view.rows(snapshot, Size(80, 24), DARK):
            for text in row.draw():
                assert not OBEYED.search(text.plain.replace("\n", "")), text.plain
