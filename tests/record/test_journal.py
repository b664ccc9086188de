"""The journal: what is read back is what was known. SQLite itself is the reference; the schema is our own."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
import stat
from collections.abc import Callable
from contextlib import closing
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.packets.batch import Port
from netwatch.packets.files import open_captures
from netwatch.record import schema
from netwatch.record.journal import Journal
from netwatch.record.plain import Unreadable, packed, unpacked
from netwatch.record.readback import FILE, facts, glimpse, journal_in, read
from netwatch.record.schema import JournalError, opened
from netwatch.report import glance
from netwatch.report import text as text_report
from netwatch.screens import pages
from netwatch.screens.looks import DARK
from netwatch.story.course import course_of
from netwatch.story.document import document
from netwatch.story.snapshot import AlertView, HostView, Snapshot, StreamView
from netwatch.words.hidden import HIDDEN
from tests.handmade import troubled
from tests.record.fed import session, until
from tests.report.test_text import hostile
from tests.stories.playing import cut_at, items
from tests.stories.rigs import PORTS, damaged, rig
from tests.stories.script import mark, stream
from tests.test_injection import texts

DEMO = Path(__file__).resolve().parents[2] / "captures" / "02-a-long-evening.pcapng.gz"
SEEDS = st.integers(0, 1 << 32)
OBEYED = re.compile(f"[{HIDDEN}]")


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, object], object]:
    """The demo evening as a live session would have recorded it; its document and its course."""
    folder = tmp_path_factory.mktemp("session")
    run = session(open_captures([DEMO]), folder)
    run.start()
    run.wait(None)
    run.stop()
    player = run.player
    assert player.clock.now is not None
    return folder, document(run.snapshot(), ()), player.course.view(player.network, player.clock.now)


def test_what_is_read_back_is_what_was_known(recorded) -> None:
    folder, known, course = recorded
    evening = read(folder / FILE)
    assert document(evening.snapshot, ()) == known
    assert evening.course == course
    assert [line.what for line in evening.snapshot.happenings].count("opened") == len(evening.snapshot.alerts)
    assert evening.recording == ()


@given(seed=SEEDS)
@settings(max_examples=8, deadline=None)
def test_any_rig_is_read_back_as_it_was(seed: int, tmp_path_factory: pytest.TempPathFactory) -> None:
    events = rig(seed) if seed % 2 else damaged(rig(seed), seed)
    folder = tmp_path_factory.mktemp("session")
    run = session(items(events, PORTS, cut_at(range(0, len(events), 50))), folder)
    run.start()
    run.wait(None)
    run.stop()
    back, known = read(folder / FILE).snapshot, run.snapshot()
    assert document(back, ()) == document(known, ())
    assert back.happenings == known.happenings


def test_views_survive_as_they_are() -> None:
    for view in views(troubled()):
        back = unpacked(type(view), packed(view))
        assert packed(back) == packed(view)
        if not isinstance(view, AlertView):  # its facts may hold lists or tuples alike
            assert back == view


def test_hostile_views_may_be_shown_and_survive_so() -> None:
    for view in views(hostile()):
        back = packed(unpacked(type(view), packed(view)))
        assert not [text for text in texts(json.loads(back)) if OBEYED.search(text)]
        assert packed(unpacked(type(view), back)) == back


def views(shot: Snapshot) -> list[Any]:
    """The entries of all its lists."""
    values = [getattr(shot, each.name) for each in fields(shot)]
    return [view for value in values if isinstance(value, tuple) for view in value]


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"interface": 3}', "null", "[" * 100_000, '{"interface":"eth0","vlan":"seven"}']
)
def test_nonsense_is_no_view(text: str) -> None:
    for kind in (AlertView, HostView, StreamView):
        with pytest.raises(Unreadable):
            unpacked(kind, text)


def test_a_view_of_an_older_or_newer_writer_is_read(recorded) -> None:
    host = troubled().hosts[0]
    older = packed(host).replace(',"asks":[]', "")
    assert older != packed(host)
    assert unpacked(HostView, older) == host
    assert unpacked(HostView, packed(host)[:-1] + ',"colour":"blue"}') == host


def test_for_its_owner_alone(recorded) -> None:
    folder, _, _ = recorded
    assert stat.S_IMODE((folder / FILE).stat().st_mode) == 0o600
    assert [path.name for path in folder.iterdir() if path.suffix != ".pcapng"] == [FILE], (
        "closed, the file alone holds all of it"
    )
    assert {stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()} == {0o600}


def test_the_folder_names_it(recorded, tmp_path: Path) -> None:
    folder, _, _ = recorded
    assert journal_in(folder) == journal_in(folder / FILE) == folder / FILE
    assert journal_in(tmp_path) is None


# ---- while it is written ----


def test_it_can_be_read_while_it_is_written(tmp_path: Path) -> None:
    held = sorted([*stream(1, hz=10, stop=30), *mark(5, word="pond dark")], key=lambda each: each.time)
    source = iter(items(held, (Port("eth0", 1),), cut_at(range(0, 400, 20))))
    run = session([], tmp_path / "session")
    assert run.recorder is not None
    run.recorder.start(run.player)
    try:
        for item in source:
            run.player.feed(item)
            run.recorder.watch(run.player)
        until(lambda: run.recorder is not None and run.recorder.committed == 1)
        with closing(opened(tmp_path / "session" / FILE)):
            evening = read(tmp_path / "session" / FILE)
        assert [line.text for line in evening.snapshot.happenings] == ["pond dark"]
        assert evening.recording, "it says that the session has no end yet"
    finally:
        run.recorder.close(run._whole())
    assert read(tmp_path / "session" / FILE).recording == ()


def test_a_locked_journal_is_told_and_nothing_is_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Locked by SQLite's own means, by another connection."""
    monkeypatch.setattr(schema, "LOCKED_MS", 50)
    run = session([], tmp_path)
    assert run.recorder is not None
    with closing(sqlite3.connect(tmp_path / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        run.recorder.start(run.player)
        for item in items(mark(5, word="while locked"), (Port("eth0", 1),), cut_at(())):
            run.player.feed(item)
            run.recorder.watch(run.player)
        until(lambda: run.recorder is not None and run.recorder.problem is not None)
        assert "locked" in str(run.recorder.problem)
        assert run.happenings(0), "what can't be written is told all the same"
        other.execute("COMMIT")
    until(lambda: run.recorder is not None and run.recorder.committed == 1)
    assert run.recorder.problem is None
    run.recorder.close(run._whole())
    assert [line.text for line in read(tmp_path / FILE).snapshot.happenings] == ["while locked"]


def test_what_is_recorded_is_told_once_it_is_on_the_disk(tmp_path: Path) -> None:
    run = session([], tmp_path)
    for item in items(mark(5, word="not yet"), (Port("eth0", 1),), cut_at(())):
        run.player.feed(item)
    assert run.happenings(0) == []
    assert run.recorder is not None
    run.recorder.start(run.player)
    run.recorder.watch(run.player)
    until(lambda: run.happenings(0) != [])
    run.recorder.close(run._whole())


# ---- what is no journal, or a damaged one ----


def wrong(path: Path, reads: Callable[[Path], object] = read) -> str:
    with pytest.raises(JournalError) as error:
        reads(path)
    text = str(error.value)
    assert text.endswith(".")
    assert "\n" not in text
    return text


def another_hand(folder: Path, place: Path) -> closing[sqlite3.Connection]:
    """A copy of a journal, to be changed."""
    return closing(sqlite3.connect(shutil.copy(folder / FILE, place / FILE), isolation_level=None))


def test_a_foreign_file_is_told(tmp_path: Path) -> None:
    text = tmp_path / "letter.sqlite"
    text.write_text("Dear all, " * 1000)
    assert "is no journal of netwatch" in wrong(text)
    other = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(other)) as database:
        database.execute("CREATE TABLE fact (name, value)")
    assert "is no journal of netwatch" in wrong(other)
    assert "there is no journal" in wrong(tmp_path / "nothing.sqlite")


def test_a_newer_journal_is_told(recorded, tmp_path: Path) -> None:
    path = shutil.copy(recorded[0] / FILE, tmp_path / FILE)
    with closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA user_version = 99")
    assert "newer netwatch (journal version 99" in wrong(path)


def test_an_older_journal_is_read_as_if_it_were_new(recorded, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = shutil.copy(recorded[0] / FILE, tmp_path / FILE)
    before = path.read_bytes()
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, "ALTER TABLE slice ADD COLUMN colour TEXT"))
    with closing(opened(path)) as database:
        assert database.execute("PRAGMA user_version").fetchone() == (len(schema.MIGRATIONS),)
        assert "colour" in {row[1] for row in database.execute("PRAGMA table_info(slice)")}
    assert document(read(path).snapshot, ()) == recorded[1]
    assert path.read_bytes() == before, "the file itself is not touched"


@pytest.fixture(scope="module")
def sound(recorded) -> Path:
    return recorded[0] / FILE


DAMAGE = st.lists(st.tuples(st.integers(0, 1 << 20), st.integers(1, 255)), min_size=1, max_size=40)


@given(damage=DAMAGE, end=st.integers(1, 1 << 20))
@settings(max_examples=60, deadline=None)
def test_a_damaged_journal_is_told_in_a_sentence(sound: Path, tmp_path_factory: pytest.TempPathFactory, damage, end: int) -> None:
    """Any octets may be wrong, and its end may be missing."""
    path = tmp_path_factory.mktemp("damaged") / FILE
    data = bytearray(sound.read_bytes())
    for at, flip in damage:
        data[at % len(data)] ^= flip
    path.write_bytes(data[: end % len(data) or 1] if end % 3 == 0 else data)
    for reads in (read, facts):
        try:
            reads(path)
        except JournalError as error:
            told = str(error)
        else:
            told = "It could be read."
        assert told.endswith(".")
        assert "\n" not in told


def test_no_journal_can_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(JournalError) as error:
        Journal(tmp_path / "file" / FILE)
    assert "--no-record" in str(error.value)


def test_minutes_that_are_written_twice_count_once(tmp_path: Path) -> None:
    journal = Journal(tmp_path / FILE)
    run = session(items(stream(1, hz=10, stop=70), (Port("eth0", 1),), cut_at(range(0, 700, 50))), tmp_path / "b")
    run.player.course.minutes = kept = []
    for item in run.source:
        run.player.feed(item)
    minutes = [*kept, run._whole().minute]
    for _ in range(2):
        journal.minutes([each for each in minutes if each is not None])
        journal.commit()
    journal.close()
    assert read(tmp_path / FILE).course == course_of([each for each in minutes if each is not None])


@pytest.mark.parametrize(("table", "change", "says"), [
    ("view", ("'vantage':'", "'vantage':'x"), "is no vantage"), ("view", ("'state':'", "'state':'x"), "is no state"),
    ("alert", ("'severity':'", "'severity':'x"), "is no severity"), ("alert", ("'since':", "'since':99999"), "is no time"),
    ("alert", ("'bytes':{'", "'bytes':{'1':'zz','"), "a packet's bytes are none"),
    ("view", ("'protocol':'", "'protocol':'x"), "is no protocol"), ("view", ("'mac':'", "'mac':'x"), "is no MAC"),
    ("view", ("'addresses':['10", "'addresses':['x10"), "an address is none"),
    ("alert", ("'accepted':null", "'accepted':{'until':'x'}"), "the end of what is known is none"),
])
def test_a_value_that_netwatch_never_writes_is_told(
    recorded, tmp_path: Path, table: str, change: tuple[str, str], says: str
) -> None:
    """Valid JSON of the right types, by another hand; found by fuzzing, as a page that could not be drawn."""
    with another_hand(recorded[0], tmp_path) as database:
        before, after = (each.replace("'", '"') for each in change)
        database.execute(f"UPDATE {table} SET body = replace(body, ?, ?)", (before, after))
    text = wrong(tmp_path / FILE)
    assert "damaged" in text
    assert says in text


def test_a_phase_that_is_none_is_told(recorded, tmp_path: Path) -> None:
    """By another hand; found by fuzzing, as a text that looked up what the phase means."""
    with another_hand(recorded[0], tmp_path) as database:
        database.execute("UPDATE fact SET value = replace(value, '\"phase\":\"', '\"phase\":\"x') WHERE name = 'snapshot'")
    for reads in (read, glimpse):
        assert "'xbuilding' is no phase" in wrong(tmp_path / FILE, reads)


ODD = "lantern \x1b[2J\x9b\u202e\u200bwalk"
"""Signs that a terminal obeys (ECMA-48), that turn what follows (Unicode bidi), or that nobody sees."""


@pytest.mark.parametrize("damage", [
    f'CREATE VIEW fact AS SELECT name, value FROM "{ODD}"',
    f"INSERT INTO sqlite_master VALUES ('table', '{ODD}', '{ODD}', 2, 'CREATE TABLE fact (((')",
], ids=["a missing table", "a schema that is none"])  # fmt: skip
def test_what_sqlite_says_of_odd_names_may_be_shown(recorded, tmp_path: Path, damage: str) -> None:
    """SQLite's own errors name tables as they are called; found by fuzzing."""
    with another_hand(recorded[0], tmp_path) as database:
        for each in ("DROP TABLE fact", "PRAGMA writable_schema = ON", damage):
            database.execute(each)
    for reads in (read, facts, glimpse):
        text = wrong(tmp_path / FILE, reads)
        assert "lantern" in text
        assert not OBEYED.search(text)


def test_odd_texts_of_another_hand_may_be_shown(recorded, tmp_path: Path) -> None:
    """As they stand and as JSON escapes them; found by fuzzing, as a page that no encoder took (a lone surrogate)."""
    escaped = json.dumps(ODD + "\ud800")[1:-1]
    with another_hand(recorded[0], tmp_path) as database:
        database.execute("UPDATE happening SET text = ? || text", (ODD,))
        database.execute("""UPDATE view SET body = replace(body, '"name":"', '"name":"' || ?)""", (escaped,))
        for place, odd in enumerate((escaped, "lantern \u202ewalk")):
            hidden = f'"facts":{{"{odd}":["{odd}"],'
            database.execute("""UPDATE alert SET body = replace(body, '"facts":{', ?) WHERE id % 2 = ?""", (hidden, place))
    night = read(tmp_path / FILE)
    told = json.dumps(document(night.snapshot, ()), ensure_ascii=False)
    for text in (told, *(str(each.facts) for each in night.snapshot.alerts), *(each.text for each in night.snapshot.happenings)):
        assert r"\u202e" in text
    for text in (told.replace(r"\u", ""), glance.page(night.snapshot), *(each.text for each in night.snapshot.happenings)):
        assert not OBEYED.search(text.replace("\n", ""))
        text.encode()


@pytest.mark.parametrize("odd", [["x"], "x", {"x": 1}, 7.5, 1e300], ids=str)
def test_facts_that_no_words_could_tell_are_told(recorded, tmp_path: Path, odd: object) -> None:
    """Valid JSON by another hand; found by fuzzing, as a text that wanted a number. Each fact of each alert once."""
    with closing(sqlite3.connect(recorded[0] / FILE)) as database:
        bodies = {id: json.loads(body) for id, body in database.execute("SELECT id, body FROM alert")}
    refused: list[tuple[str, str]] = []
    for id, body in bodies.items():
        for name in [*body["facts"], "universe", "in_a_show"]:
            with another_hand(recorded[0], tmp_path) as database:
                changed = json.dumps({**body, "facts": {**body["facts"], name: odd}})
                database.execute("UPDATE alert SET body = ? WHERE id = ?", (changed, id))
            try:
                shot = read(tmp_path / FILE).snapshot
                text_report.render(shot, ())
                pages.alert_page(shot.alerts[id - 1], shot, DARK)
            except JournalError as error:
                refused.append((body["code"], str(error)))
    assert refused
    assert all(f"the facts of {code} are none" in said for code, said in refused)
