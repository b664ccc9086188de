"""A journal stays within its size: the oldest figures go first, what was told last. SQLite itself is the reference."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from netwatch.packets.batch import BatchBuilder, PacketBatch, Port
from netwatch.record import journal as writing
from netwatch.record.journal import Journal
from netwatch.record.readback import FILE, read
from netwatch.story.course import Minute
from netwatch.story.snapshot import AlertView, Happening
from tests.handmade import alert, at, clean, host

MIB = 1 << 20
MINUTE = 60 * 1_000_000_000


def minute(number: int, streams: int = 64) -> Minute:
    rows = tuple((("eth0", None, "e131", each, f"{each:032x}"), (440,) * 6, 0) for each in range(1, streams + 1))
    return Minute(at(0) + number * MINUTE, rows)


def size(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.iterdir())


def committed(journal: Journal) -> None:
    journal.make_room()
    journal.commit()


def tables(folder: Path) -> dict[str, int]:
    with closing(sqlite3.connect(folder / FILE)) as database:
        names = ("minute", "packet", "happening", "alert", "view", "segment")
        return {name: database.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in names}


def over(id: int) -> AlertView:
    return alert(id, "sources-fighting", "now", {"universe": 1, "text": "x" * 4000}, closed=at(id))


def packet(n: int) -> PacketBatch:
    builder = BatchBuilder((Port("eth0", 1),), n)
    builder.add(bytes(1400), at(n), 0)
    return builder.take()


def test_the_oldest_figures_go_first_and_the_file_never_grows_beyond_its_size(tmp_path: Path) -> None:
    most = 6 * MIB
    journal = Journal(tmp_path / FILE, most)
    journal.happened([Happening(at(1), "opened", "a fight", 1)])
    journal.alerts([over(1)])
    for number in range(0, 2000, 10):
        journal.minutes([minute(each) for each in range(number, number + 10)])
        journal.picture(clean(now=at(60 * number)))
        committed(journal)
        assert size(tmp_path) <= most
    journal.close()
    assert size(tmp_path) > most / 4
    evening = read(tmp_path / FILE)
    assert evening.course is not None
    first = evening.course.first
    assert first > at(0) + 60 * MINUTE, "the first hours are gone"
    assert sum(evening.course.runs[0].packets) == (at(0) + 2000 * MINUTE - first) // MINUTE * 6 * 440, "and nothing since"
    assert [each.id for each in evening.snapshot.alerts] == [1]
    assert [line.text for line in evening.snapshot.happenings] == ["a fight"]
    (told,) = [text for text in evening.recording if "Taken away" in text]
    hours = (first - at(0)) / MINUTE / 60
    assert told == f"Taken away to keep the journal within its size, the oldest first: figures of the first {hours:.0f} h."


def test_without_figures_packets_go_then_lines_and_alerts_that_are_over_last(tmp_path: Path) -> None:
    journal = Journal(tmp_path / FILE, 6 * MIB)
    still = alert(1, "sources-fighting", "now", {"universe": 1})
    journal.alerts([still])
    seen = []
    for number in range(2, 1500):
        journal.happened([Happening(at(number), "phase", "y" * 200), Happening(at(number), "closed", "x", number)])
        journal.alerts([still, over(number)])
        journal.packets({number: packet(number)} if number < 300 else {})
        if number % 25 == 0:
            committed(journal)
            assert size(tmp_path) <= 6 * MIB
        if number % 50 == 0:
            seen.append(tables(tmp_path))
    committed(journal)
    journal.close()
    before = next(each for place, each in enumerate(seen, 1) if each["alert"] < 50 * place)
    assert before["packet"] == 0, "no alert went while there were packets"
    assert seen[-1]["alert"] > 100
    evening = read(tmp_path / FILE)
    assert evening.snapshot.alerts[0].id == 1, "what is open stays"
    assert evening.snapshot.alerts[-1].id == 1499
    kept = {each.id for each in evening.snapshot.alerts}
    assert {line.alert for line in evening.snapshot.happenings if line.alert is not None} <= kept
    assert "alerts that were over" in " ".join(evening.recording)
    assert len(kept) + int(evening.recording[-1].rpartition(" alerts that")[0].rpartition(" ")[2].replace(",", "")) == 1499


def test_what_was_taken_away_is_not_written_again(tmp_path: Path) -> None:
    """Each picture holds the alerts that are over, too."""
    journal = Journal(tmp_path / FILE, 5 * MIB)
    for number in range(10, 500, 10):
        journal.picture(clean(alerts=tuple(over(each) for each in range(max(1, number - 60), number + 1))))
        committed(journal)
        assert size(tmp_path) <= 5 * MIB
    journal.close()
    assert [each.id for each in read(tmp_path / FILE).snapshot.alerts][-1] == 490


@pytest.mark.parametrize("by", ["size", "number"])
def test_boxes_of_which_nothing_is_heard_any_more_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, by: str) -> None:
    """A stranger who makes up MACs fills neither the disk nor the memory."""
    if by == "number":
        monkeypatch.setattr(writing, "MOST_VIEWS", 1000)
    journal = Journal(tmp_path / FILE, 6 * MIB if by == "size" else None)
    for number in range(120):
        hosts = tuple(host(f"02:00:00:00:{number:02x}:{each:02x}", ()) for each in range(100))
        journal.picture(clean(hosts=hosts))
        committed(journal)
        assert len(journal._views) < (20_000 if by == "size" else 1200)
    journal.close()
    assert size(tmp_path) <= 6 * MIB
    kept = {each.mac for each in read(tmp_path / FILE).snapshot.hosts}
    assert kept >= {each.mac for each in hosts}
    assert "what was heard no longer" in " ".join(read(tmp_path / FILE).recording)
