"""However the input is cut, rules about light give the same answer (no outside source: a property of the fold).

Beside the rigs of all kinds: synchronization, lists, priorities slot by slot that change, broken frames, loss, copies.
"""

from __future__ import annotations

from dataclasses import replace
from random import Random
from unittest.mock import patch

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from netwatch.decode.columns import decode
from netwatch.decode.forms import Forms
from netwatch.decode.tables import Decoded
from netwatch.packets.batch import PacketBatch, Port
from tests.stories import frames
from tests.stories.acn_frames import broken, discovery, sync
from tests.stories.boxes import BOATHOUSE, ORCHARD, POND, WALK, Box
from tests.stories.playing import NS, START, Event, Heard, cut_at, difference, picture, play

PORTS = (Port("eth0", 1),)
KINDS = ("sync", "slots", "broken", "lists", "synced", "lossy", "twice", "preview", "odd")


def packet(random: Random, kind: str, who: Box, universe: int, i: int) -> bytes | None:
    """The i-th packet of one sender, None = it got lost."""
    levels = bytes((i // 7 % 255 + 1,)) * 40
    if kind == "sync":
        return sync(who, universe, i)
    if kind == "lists":
        return discovery(who, tuple(range(1, random.randint(1, 4)))) if i % 20 == 0 else None
    if kind == "broken":
        return broken(frames.e131(who, universe, i), random.choice((118, 39, 108)), random.choice((0xA2, 0x51, 0xC9)))
    if kind == "slots" and i % 5 == 0:
        values = bytes((random.choice((0, 100, 100, 100, 120)),)) * random.choice((512, 512, 20))
        return frames.e131(who, universe, i, values, start_code=frames.PER_ADDRESS_PRIORITY)
    if kind == "lossy" and random.random() < 0.07:
        return None
    options = random.choice((0,) * 20 + (frames.PREVIEW, frames.TERMINATED)) if kind == "preview" else 0
    where = random.choice((0, 2, 2, 2, 2)) if kind == "synced" else 0
    priority = random.choice((100,) * 30 + (150,)) if kind == "odd" else 100
    return frames.e131(who, universe, i, levels, sync=where, options=options, priority=priority)


def evening(seed: int) -> list[Event]:
    """Some senders, all at once."""
    random, out = Random(seed), list[Event]()
    seconds = random.choice((8, 25, 45))
    for _ in range(random.randint(1, 5)):
        kind, who, universe = random.choice(KINDS), random.choice((WALK, POND, ORCHARD, BOATHOUSE)), random.randint(1, 3)
        hz, first, pause = random.choice((1, 4, 15)), random.randrange(256), random.uniform(0, seconds)
        for i in range(seconds * hz):
            time = START + round((i / hz + random.uniform(0, 0.003) + (4 if i / hz > pause else 0)) * NS)
            frame = packet(random, kind, who, universe, first + i)
            if frame is not None:
                copies = 2 if kind == "twice" and random.random() < 0.5 else 1
                out += [Heard(time + 50_000 * copy, frame) for copy in range(copies)]
    return sorted(out, key=lambda event: event.time)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 1 << 32), st.integers(0, 1 << 32))
def test_rules_about_light_do_not_see_how_the_input_was_cut(seed: int, cuts: int) -> None:
    events, random = evening(seed), Random(cuts)
    assume(events)  # all senders of some seeds end before they begin
    whole = picture(play(events, PORTS, vantage="mirror"))
    places = {random.randrange(len(events)) for _ in range(random.choice((3, 30, 200)))}
    assert not difference(whole, picture(play(events, PORTS, vantage="mirror", cut=cut_at(places))))
    with patch("netwatch.story.play._MOST_CELLS", 1):
        assert not difference(whole, picture(play(events, PORTS, vantage="mirror", cut=lambda place: place % 11 == 3)))


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 1 << 32), st.integers(0, 1 << 32))
def test_what_each_kind_of_header_says_is_what_its_rows_say(seed: int, cuts: int) -> None:
    """Batches of known light alone are asked by kinds, flows that go on plainly are counted at once: it must not matter."""
    events, random = evening(seed), Random(cuts)
    cut = cut_at({random.randrange(len(events)) for _ in range(random.choice((3, 30, 200)))})
    quick = picture(play(events, PORTS, vantage="mirror", cut=cut))
    with patch("netwatch.story.play.decode", by_rows), patch("netwatch.network.sequence._plain", return_value=False):
        assert not difference(quick, picture(play(events, PORTS, vantage="mirror", cut=cut)))


def by_rows(batch: PacketBatch, known: Forms) -> Decoded:
    return replace(decode(batch, known), kinds=None)
