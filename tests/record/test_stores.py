"""Packets of a live session on disk: what rolls, what is kept apart, what goes first. Files are read back with scapy, too."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scapy.utils import RawPcapNgReader

from netwatch.commands.session import Session
from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import Item, Mark, PacketBatch, Port
from netwatch.packets.files import open_captures
from netwatch.record import rolling, stores
from netwatch.record.cutting import Cutter
from netwatch.record.packets_back import found
from netwatch.record.readback import FILE, read, segments, slices
from netwatch.record.recent import Chunk, Recent, chunk_of
from netwatch.record.recorder import News
from netwatch.record.slices import Slices
from netwatch.record.stores import Limits, PacketStores
from netwatch.story.document import document
from netwatch.story.snapshot import Happening
from tests.handmade import alert
from tests.record.fed import session
from tests.stories import frames
from tests.stories.playing import NS, START, Event, cut_at, items
from tests.stories.script import every, mark, stream

MINUTE = 60 * NS
DEMO = Path(__file__).resolve().parents[2] / "captures" / "02-a-long-evening.pcapng.gz"


def heard(events: Sequence[Event], each: int = 20) -> list[Item]:
    """Batches of a few packets, as a wire gives them."""
    ordered = sorted(events, key=lambda event: event.time)
    return list(items(ordered, (Port("eth0", 1),), cut_at(range(0, len(ordered), each))))


def light(seconds: float, hz: float = 10, start: float = 0) -> list[Event]:
    """One universe in which each frame differs."""
    return stream(1, hz=hz, start=start, stop=start + seconds, levels=lambda i: bytes([i % 256] * 512))


def moving(store: PacketStores, source: Sequence[Item]) -> None:
    for item in source:
        store.take(item)


def rows(path: Path) -> list[bytes]:
    with RawPcapNgReader(str(path)) as reader:
        return [data for data, _ in reader]


# ---- what rolls ----


def test_the_capture_keeps_the_newest_within_its_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rolling, "LEAST", 1 << 16)
    most = 1 << 20
    store = PacketStores(tmp_path, DEFAULTS, Limits(1 << 20, 1 << 20, 1 << 22, most), Cutter())
    whole = heard(light(600))
    moving(store, whole)
    store.close()
    files = sorted(tmp_path.glob("capture-*"))
    assert sum(path.stat().st_size for path in files) <= most
    kept = [data for path in files for data in rows(path)]
    sent = [item.packet(row) for item in whole if isinstance(item, PacketBatch) for row in range(item.rows)]
    assert len(kept) > 1000
    assert kept == sent[-len(kept) :], "the newest, without a gap"
    told = [each for each in store.segments() if each.kind == "capture"]
    assert [each.file for each in told if each.gone is None] == [path.name for path in files]
    assert all(each.gone for each in told[: -len(files)])


def test_the_capture_leaves_room_on_the_disk_and_goes_on_when_there_is_some(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """First the oldest segments go; then nothing is begun, and it says so; then it goes on."""
    monkeypatch.setattr(rolling, "LEAST", 1 << 16)
    monkeypatch.setattr(stores, "AGAIN_S", 0.0)
    free = [1 << 40]
    monkeypatch.setattr(rolling.shutil, "disk_usage", lambda path: SimpleNamespace(free=free[0]))
    store = PacketStores(tmp_path, DEFAULTS, Limits(1 << 20, 1 << 20, 1 << 22, 1 << 20), Cutter())
    whole = heard(light(300))
    third = len(whole) // 3
    moving(store, whole[:third])
    assert store.problem is None
    free[0] = 256 << 20
    moving(store, whole[third : 2 * third])
    assert list(tmp_path.glob("capture-*")) == []
    assert "is nearly full; 268.4 MB stay free for the journal" in str(store.problem)
    free[0] = 1 << 40
    moving(store, whole[2 * third :])
    store.close()
    assert store.problem is None
    kept = [data for path in sorted(tmp_path.glob("capture-*")) for data in rows(path)]
    assert kept[-1] == whole[-1].packet(whole[-1].rows - 1)  # type: ignore[union-attr]


def test_each_segment_can_be_read_alone_and_shows_levels(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rolling, "LEAST", 1 << 14)
    store = PacketStores(tmp_path, DEFAULTS, Limits(1 << 20, 1 << 20, 1 << 22, 1 << 18), Cutter())
    moving(store, heard(stream(1, hz=10, stop=300, levels=bytes([200] * 512)), each=5))
    store.close()
    files = sorted(tmp_path.glob("capture-*"))
    assert len(files) > 3
    for path in files[:-1]:
        source = open_captures([path])
        assert any(isinstance(item, PacketBatch) and (item.caplen == item.wirelen).any() for item in source)
        assert source.files[0].problem is None


def test_the_talk_holds_all_but_the_levels(tmp_path: Path) -> None:
    store = PacketStores(tmp_path, DEFAULTS, Limits.of(DEFAULTS), Cutter())
    ask = frames.arp("gatehouse desk", "10.0.0.22")
    moving(store, heard([*light(100), *every(10, ask, stop=100), *mark(50, word="pond dark")]))
    store.close()
    (path,) = tmp_path.glob("talk-*")
    assert rows(path) == [ask] * 10
    marks = [item for item in open_captures([path]) if isinstance(item, Mark)]
    assert [item.facts for item in marks] == [{"word": "pond dark"}]


def test_how_far_it_reaches_is_measured(tmp_path: Path) -> None:
    store = PacketStores(tmp_path, DEFAULTS, Limits(1 << 20, 1 << 20, 1 << 22, 100 << 20), Cutter())
    whole = heard(light(100))
    moving(store, whole)
    size = sum(path.stat().st_size for path in tmp_path.glob("capture-*"))
    assert store.capture is not None
    assert store.capture.reach == pytest.approx((100 << 20) / size * 100, rel=0.02)


# ---- slices ----


def chunk(item: Item) -> Chunk:
    """By its own times."""
    when = (item.time, item.time) if isinstance(item, Mark) else (int(item.time.min()), int(item.time.max()))
    return chunk_of(item, *when)


def kept(tmp_path: Path, most: int = 64 << 20) -> tuple[Recent, Slices]:
    recent = Recent(MINUTE + stores.SLACK, 1 << 26)
    return recent, Slices(tmp_path, MINUTE, most, recent, "about")


def play(recent: Recent, made: Slices, source: Sequence[Item], told: dict[float, News]) -> None:
    """Take all; news come as soon as their second is over."""
    waiting = sorted(told.items())
    for item in source:
        each = chunk(item)
        recent.add(each)
        made.take(each)
        while waiting and each.last >= START + waiting[0][0] * NS:
            _, news = waiting.pop(0)
            made.alerts(news.alerts, {each.id for each in news.alerts})
            made.marks(news.lines)
    made.close()


def about(number: int, seconds: float, severity: str = "now") -> News:
    since = START + round(seconds * NS)
    return News(alerts=(alert(number, "source-lost", severity, {}, since=since, opened=since + 3 * NS),))


def test_a_slice_goes_from_a_minute_before_to_a_minute_after(tmp_path: Path) -> None:
    recent, made = kept(tmp_path)
    whole = heard(light(400))
    play(recent, made, whole, {203: about(1, 200)})
    (one,) = made.all()
    times = np.concatenate([item.time for item in open_captures([tmp_path / one.file]) if isinstance(item, PacketBatch)])
    assert START + 138 * NS <= times[0] <= START + 140 * NS
    assert START + 263 * NS <= times[-1] <= START + 265 * NS
    assert (one.first, one.last) == (times[0], times[-1])
    assert sum(each for _, each in one.runs) == len(times)


def test_overlaps_are_shared(tmp_path: Path) -> None:
    recent, made = kept(tmp_path)
    play(recent, made, heard(light(600)), {103: about(1, 100), 203: about(2, 200, "soon"), 503: about(3, 500)})
    assert [each.why for each in made.all()] == [("alert 1 (source-lost)", "alert 2 (source-lost)"), ("alert 3 (source-lost)",)]
    first = rows(tmp_path / made.all()[0].file)
    assert len(first) == len(set(first)) or len(first) == sum(each for _, each in made.all()[0].runs), "nothing twice"
    assert made.all()[0].severity == "now"


def test_a_mark_is_kept_as_an_alert_is(tmp_path: Path) -> None:
    recent, made = kept(tmp_path)
    play(recent, made, heard(light(200)), {100: News(lines=(Happening(START + 100 * NS, "word", "pond dark"),))})
    (one,) = made.all()
    assert one.why == ("mark 'pond dark'",)


def test_the_oldest_soon_goes_first_and_is_told(tmp_path: Path) -> None:
    recent, made = kept(tmp_path, 2_900_000)
    told = {100 + 250 * i: about(i + 1, 97 + 250 * i, "now" if i in (0, 2) else "soon") for i in range(5)}
    play(recent, made, heard(light(1400)), told)
    gone = [each.id for each in made.all() if each.gone]
    assert gone == [2, 4]
    assert {path.name for path in tmp_path.iterdir()} == {each.file for each in made.all() if not each.gone}


def test_memory_is_bounded_and_it_says_what_it_cost() -> None:
    recent = Recent(MINUTE, 1 << 20)
    for item in heard(light(60, hz=40)):
        recent.add(chunk(item))
    assert sum(len(chunk.blocks) for chunk in recent.chunks) <= 1 << 20
    assert recent.short is not None
    assert recent.short < MINUTE


def test_packets_in_memory_are_found_by_number() -> None:
    recent = Recent(MINUTE, 1 << 26)
    whole = heard([*light(30), *mark(10, word="x")])
    for item in whole:
        recent.add(chunk(item))
    sent = {item.first + row: (item.packet(row), int(item.time[row])) for item in whole if isinstance(item, PacketBatch)
            for row in range(item.rows)}  # fmt: skip
    wanted = {1, 2, 77, 300, 9999}
    back = recent.found(wanted)
    assert {n: (one.packet(0), int(one.time[0])) for n, one in back.items()} == {n: sent[n] for n in wanted if n in sent}


# ---- whole sessions ----


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Session]:
    """The demo evening as a guard keeps it."""
    folder = tmp_path_factory.mktemp("guard")
    run = session(open_captures([DEMO]), folder, rows=25, capture=1 << 30)
    run.start()
    run.wait(None)
    run.stop()
    return folder, run


def test_what_a_guard_kept_replays_to_the_same_picture(guarded: tuple[Path, Session]) -> None:
    """Frames that say nothing new are cut, so all but the look of levels is the same."""
    folder, run = guarded
    from netwatch.story.play import Player

    again = Player(DEFAULTS, live=True)
    for item in open_captures(sorted(folder.glob("capture-*"))):
        again.feed(item)
    again.finish()
    one, other = (document(each.snapshot(), ()) for each in (run.player, again))
    for each in (*one["alerts"], *other["alerts"]):
        each["bytes"] = {n: data for n, data in each["bytes"].items() if len(data) < 400}
    assert json.dumps(one) == json.dumps(other)


def test_every_packet_that_an_alert_rests_on_is_there(guarded: tuple[Path, Session]) -> None:
    folder, _ = guarded
    evening = read(folder / FILE)
    wanted = {n for each in evening.snapshot.alerts for n in each.packets}
    sent = {n: item.packet(n - item.first) for item in open_captures([DEMO]) if isinstance(item, PacketBatch)
            for n in wanted if item.first <= n < item.first + item.rows}  # fmt: skip
    assert set(evening.packets) >= wanted
    assert all(sent[n].startswith(evening.packets[n].packet(0)) for n in wanted)
    assert set(evening.places) == wanted
    for n, (file, place) in evening.places.items():
        assert sent[n].startswith(rows(folder / file)[place - 1])


def test_alerts_are_found_again_in_their_slices(guarded: tuple[Path, Session]) -> None:
    folder, _ = guarded
    told = slices(folder / FILE)
    assert {code for each in told for code in each.why} >= {"alert 1 (two-dhcp-servers)", "alert 3 (duplicate-address)"}
    first = told[0].runs[0][0]
    assert found(folder, told, {first})[first][1:] == ("slice-0001.pcapng", 1)
    assert {each.kind for each in segments(folder / FILE)} == {"talk", "capture"}


def test_no_levels_at_all(tmp_path: Path) -> None:
    levels = bytes(range(7, 207)) * 2
    run = session(heard([*stream(1, hz=10, stop=30, levels=levels), *mark(15, word="here")]), tmp_path, capture=1 << 30,
                  cutter=Cutter(headers_only=True))  # fmt: skip
    run.start()
    run.wait(None)
    run.stop()
    assert len(list(tmp_path.iterdir())) == 4
    for path in tmp_path.iterdir():
        assert levels[:16] not in path.read_bytes(), path


def test_a_folder_that_can_not_be_written_to_is_told_and_the_journal_goes_on(tmp_path: Path) -> None:
    run = session(heard([*light(30), *mark(15, word="here")]), tmp_path, capture=1 << 30)
    (tmp_path / "slice-0001.pcapng").write_text("in the way")
    run.start()
    run.wait(None)
    run.stop()
    assert "Packets around alerts can't be kept now" in str(run.recorder and run.recorder.problem)
    assert [line.text for line in read(tmp_path / FILE).snapshot.happenings] == ["here"]
