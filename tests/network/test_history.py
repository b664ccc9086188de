"""Level history: every frame counts, and no cut of the input matters (a law of the project's own, no outside source)."""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st
from sacn.messages.data_packet import DataPacket

from netwatch.decode.tables import ARTNET, E131
from netwatch.network.history import CHANGE_BYTES, History, Look
from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import Port
from netwatch.story.play import Player
from tests.stories import frames
from tests.stories.boxes import BACKUP, DESK, WALK, Box
from tests.stories.playing import Cut, Event, Heard, cut_at, items, play
from tests.stories.rigs import PORTS, rig
from tests.stories.script import artnet, at, ns, stream

LOOK = Look(E131, 7, 3, 6)


def history(events: Sequence[Event], look: Look = LOOK, cut: Cut = lambda place: False) -> History:
    found = play(sorted(events, key=lambda event: event.time), look=look, cut=cut).network.history
    assert found is not None
    return found


def told(found: History) -> list[object]:
    """All that may be shown."""
    sources = [(s.src, s.dst, s.name, s.frames, s.late, s.cut, s.first, s.last) for s in found.sources]
    turns = [(t.sources, t.since, t.until, t.n, t.times, t.differ) for t in found.turns()]
    return [sources, list(found.changes), turns, found.forgotten]


def by_library(source: Box, sequence: int, levels: bytes, priority: int = 100) -> bytes:
    """E1.31 data as the library sacn writes it."""
    slots = tuple(levels.ljust(512, b"\0"))
    packet = DataPacket(tuple(source.cid), source.name, 7, slots, priority=priority, sequence=sequence & 255)
    return frames.where_to(source, "239.255.0.7", None, 17, frames.udp(5568, 5568, bytes(packet.getBytes())))


@st.composite
def fights(draw: st.DrawFn) -> list[tuple[Box, bytes, int]]:
    """(source, slots 1 to 8, priority) frame by frame; few levels, so that many frames are alike."""
    frame = st.tuples(
        st.sampled_from([DESK, BACKUP, WALK]), st.lists(st.sampled_from([0, 9, 255]), min_size=8, max_size=8).map(bytes),
        st.sampled_from([100, 100, 100, 90]),
    )  # fmt: skip
    return draw(st.lists(frame, min_size=1, max_size=60))


@settings(max_examples=50, deadline=None)
@given(fights(), st.integers(0, 1 << 32))
def test_every_frame_against_a_slow_reading(sent: list[tuple[Box, bytes, int]], seed: int) -> None:
    random, count = Random(seed), dict.fromkeys((DESK.name, BACKUP.name, WALK.name), -1)
    events: list[Event] = []
    for place, (box, levels, priority) in enumerate(sent):
        count[box.name] += 1
        events.append(Heard(ns(place * 0.02), by_library(box, count[box.name], levels, priority)))
        events.append(Heard(ns(place * 0.02) + 1, frames.e131(box, 8, place)))  # another universe
    found = history(events)
    newest: dict[str, tuple[bytes, int]] = {}
    expected = []
    for place, (box, levels, priority) in enumerate(sent):
        shown = levels[2:6], priority
        if newest.get(box.name) != shown:
            expected.append((1 + 2 * place, box.address, *shown))
        newest[box.name] = shown
    addresses = {s.src: f"10.0.0.{s.src & 255}" for s in found.sources}
    assert [(c.n, addresses[found.sources[c.source].src], c.levels, c.priority) for c in found.changes] == expected
    cuts = {random.randrange(len(events)) for _ in range(random.choice((1, 5, len(events))))}
    assert told(history(events, cut=cut_at(cuts))) == told(found)


def test_turns_are_counted_frame_by_frame() -> None:
    """A and B with one priority; 6.2.3.1 to 6.2.3.3 leave it to the receiver."""
    events = [Heard(ns(i * 0.02), by_library((DESK, BACKUP)[i % 2], i // 2, bytes(2) + bytes([i % 2 * 9]))) for i in range(20)]
    [turns] = history(events).turns()
    assert (turns.times, turns.since, turns.until) == (19, ns(0.02), ns(19 * 0.02))
    assert turns.differ == 9 << 24


def test_no_turns_where_a_standard_decides() -> None:
    """E1.31-2018 6.2.3 (priority), 6.2.6 (preview, terminated); one hand-over is no alternation."""
    one = stream(7, "gatehouse desk", stop=3, levels=bytes([255]) * 512)
    for other in (
        stream(7, "gatehouse backup", stop=3, priority=90), stream(7, "mill pond", stop=3, options=frames.PREVIEW),
        stream(7, "orchard", stop=3, levels=bytes([255]) * 512), stream(7, "orchard", start=3, stop=6),
    ):  # fmt: skip
        assert history([*one, *other]).turns() == []


def test_no_turns_below_a_third_with_more_priority() -> None:
    """6.2.3."""
    two = [*stream(7, "gatehouse desk", stop=3, levels=bytes([255]) * 512), *stream(7, "gatehouse backup", start=0.01, stop=3)]
    assert len(history(two).turns()) == 1
    assert history([*stream(7, "orchard", start=-1, stop=3, priority=150), *two]).turns() == []


def test_sources_that_share_the_slots_do_not_fight() -> None:
    """START code 0xDD, 0 = does not control the slot (two public merge libraries)."""
    mine, theirs = bytes([0, 0, 100, 100, 0, 0]), bytes([0, 0, 0, 0, 100, 100])
    events = [
        *stream(7, "gatehouse desk", stop=3, levels=bytes([255]) * 512), *stream(7, "gatehouse backup", start=0.01, stop=3),
    ]  # fmt: skip
    shared = [Heard(ns(-0.5 + i), frames.e131(who, 7, 0, each, start_code=0xDD)) for i in range(4)
              for who, each in (("gatehouse desk", mine), ("gatehouse backup", theirs))]  # fmt: skip
    assert len(history(events).turns()) == 1
    assert history([*events, *shared]).turns() == []


def test_copies_to_several_receivers_are_no_fight() -> None:
    first, second = stream(7, DESK, stop=2, to=WALK), stream(7, BACKUP, start=0.01, stop=2, to=BACKUP, levels=bytes([9]) * 512)
    assert history([*first, *second]).turns() == []


def test_a_late_frame_is_left_out() -> None:
    """6.7.2: -20 < difference <= 0 is thrown away; START codes that count apart don't make levels late."""
    events = [
        *(e for i in range(9) for e in at(i / 40, by_library(DESK, i, b""))),
        *at(0.3, by_library(DESK, 5, bytes(2) + b"\x09")), *at(0.4, by_library(DESK, 9, b"")),
        *at(0.41, frames.e131(DESK, 7, 20, bytes(9), start_code=0xDD)), *at(0.5, by_library(DESK, 10, b"")),
    ]  # fmt: skip
    found = history(events)
    assert (found.sources[0].late, found.sources[0].frames, len(found.changes)) == (1, 11, 1)


def test_a_source_that_stops_and_comes_back_begins_anew() -> None:
    """6.7.1: 2.5 s."""
    found = history([*stream(7, stop=1), *stream(7, start=4, stop=5, goodbye=True)])
    assert [(c.begins, c.ends) for c in found.changes] == [(True, False), (True, False), (False, True)]
    assert found.changes[1].before == ns(1 - 1 / 40)


def test_what_stands_in_a_farewell_is_ignored() -> None:
    """6.2.6: any property values in a packet with Stream_Terminated shall be ignored."""
    lit = bytes([9]) * 8
    bye = frames.e131("gatehouse desk", 7, 40, b"", options=frames.TERMINATED, priority=0)
    found = history([*stream(7, stop=1, levels=lit), *at(1, bye), *stream(7, start=1.4, stop=2, first=41, levels=lit)])
    assert [(c.levels, c.priority, c.begins, c.ends) for c in found.changes] == [
        (lit[:4], 100, True, False), (lit[:4], 100, False, True), (lit[:4], 100, True, False),
    ]  # fmt: skip


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 1 << 32), st.integers(0, 1 << 32), st.integers(1, 3))
def test_random_rigs_may_be_cut_anywhere(seed: int, cuts: int, universe: int) -> None:
    """With losses, late packets, silences, other START codes, holes and a clock that is set back."""
    events, random = rig(seed), Random(cuts)
    places = {random.randrange(len(events)) for _ in range(random.choice((1, 30, len(events))))}
    look = Look(E131, universe, 1, 40)
    whole, parts = (play(events, PORTS, look=look, cut=cut).network.history for cut in (cut_at(()), cut_at(places)))
    assert whole is not None
    assert parts is not None
    assert told(whole) == told(parts)


def test_art_net_by_its_port_address() -> None:
    """Frames of the layout of Art-Net 4 p.60; 0.1.5 is 21."""
    events = [*artnet(21, stop=1, levels=bytes([1, 2, 3, 4])), *stream(21, stop=1)]
    found = history(events, Look(ARTNET, 21, 2, 6))
    [change] = found.changes
    assert (change.levels, change.slots) == (bytes([2, 3, 4, 0, 0]), 3)


def test_slots_behind_the_end_and_channels_beyond() -> None:
    found = history([*stream(7, stop=0.5, levels=bytes([7] * 4)), *stream(7, start=0.5, stop=1, first=20, levels=bytes([7] * 2))])
    assert [(c.levels, c.slots) for c in found.changes] == [(bytes([7, 7, 0, 0]), 2), (bytes(4), 0)]


def test_memory_is_bounded_and_the_oldest_go_first() -> None:
    events = stream(7, stop=10, levels=lambda i: bytes([i & 255]) * 8)
    player = Player(DEFAULTS)
    few = player.network.history = History(DEFAULTS, LOOK, room=50 * (CHANGE_BYTES + LOOK.width))
    for item in items(events, (Port("eth0", 1),), lambda place: place % 7 == 3):
        player.feed(item)
    assert (len(few.changes), few.forgotten) == (50, 350)
    assert list(few.changes) == list(history(events).changes)[-50:]
    assert History(DEFAULTS, Look(E131, 1)).changes.maxlen == (16 << 20) // (CHANGE_BYTES + 512)


def test_more_sources_than_there_is_room_for() -> None:
    events = [e for i in range(70) for e in at(i / 100, frames.e131(DESK.at(f"10.0.1.{i}"), 7, i))]
    found = history(events)
    assert (len(found.sources), found.refused) == (64, 6)
