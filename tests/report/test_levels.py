"""The level history as text (the words are the project's own)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC

import pytest

from netwatch.decode.tables import ARTNET, E131
from netwatch.network.history import Look
from netwatch.report.layout import cells
from netwatch.report.levels import MOST_LINES, render
from netwatch.words.levels import level, runs
from tests.stories import frames
from tests.stories.boxes import BOATHOUSE, DESK, ORCHARD, WALK
from tests.stories.playing import Event, play
from tests.stories.script import artnet, stream


def look(*spans: tuple[int, int, int]) -> bytes:
    """512 levels: (first channel, last, level)."""
    out = bytearray(512)
    for first, last, value in spans:
        out[first - 1 : last] = bytes([value]) * (last - first + 1)
    return bytes(out)


LOOK = Look(E131, 3, 1, 20)


def text(events: Sequence[Event], wanted: Look = LOOK, width: int = 80) -> str:
    told = play(sorted(events, key=lambda event: event.time), look=wanted).snapshot()
    return render(told, [], width=width, zone=UTC)


def desk(i: int) -> bytes:
    """A look, a fade of a second, one dark frame."""
    level = 255 if i < 40 else 255 - 3 * min(i - 40, 40)
    return bytes(512) if i == 120 else look((1, 12, level), (13, 16, 128))


EVENING = [
    *stream(3, "gatehouse desk", stop=10, levels=desk, goodbye=True),
    *stream(3, "orchard", start=5.01, stop=8, levels=look((1, 6, 40))),
    *stream(3, "gatehouse backup", hz=1, stop=12, levels=desk(0), priority=90),
]  # fmt: skip


def test_levels_as_people_say_them() -> None:
    """Percent beside 0-255; never 0 % or 100 % for what is neither off nor full."""
    assert [level(v) for v in (0, 1, 128, 254, 255)] == ["off", "1 % (1)", "50 % (128)", "99 % (254)", "full"]
    assert runs(look((1, 24, 255))[:96], 1) == "1-24 full, 25-96 off"
    assert runs(bytes([0, 9, 9]), 100, sent=2) == "100 off, 101 4 % (9), 102 not sent"
    assert runs(bytes(range(20)), 1).endswith("8 3 % (7), and 12 more channels")


def test_an_evening() -> None:
    told = text(EVENING)
    assert told[told.index("LEVELS") :] == EXPECTED


EXPECTED = """\
LEVELS OF UNIVERSE 3, DMX CHANNELS 1-20

SENT BY
A   gatehouse desk, 10.0.0.10, to 239.255.0.3, priority 100, has ended, 403
    frames
B   gatehouse backup, 10.0.0.11, to 239.255.0.3, priority 90, 12 frames
C   orchard, 10.0.0.23, to 239.255.0.3, priority 100, silent now, 119 frames

WHO WINS NOW
- DMX channels 1-20: gatehouse backup; nobody else drives them.

WHAT AN EYE MAY HAVE SEEN
17:22:14.106  A (gatehouse desk): all fell to zero for one frame (25 ms) from 53
              % (135) at the highest, and came back.
17:22:16.131  A (gatehouse desk) and C (orchard) send different levels in turns:
              235 changes to and fro in 3 s, on DMX channels 1-16. A receiver
              that takes the newest frame flickers.

CHANGES, ONE AFTER THE OTHER
17:22:11.106  A begins: 1-12 full, 13-16 50 % (128), 17-20 off
17:22:11.106  B begins: 1-12 full, 13-16 50 % (128), 17-20 off
17:22:12.131  A 40 changes in 1 s on DMX channels 1-12; then 1-12 53 % (135)
17:22:14.106  A 1-16 off
17:22:14.131  A 1-12 53 % (135), 13-16 50 % (128)
17:22:16.116  C begins: 1-6 16 % (40), 7-20 off
17:22:19.066  C is heard here for the last time
17:22:21.106  A says that it ends
"""


def test_who_wins_now() -> None:
    """E1.31-2018 6.2.3 (priority), 6.2.3.1 to 6.2.3.3 (ties); Art-Net 4 p.62 (merging)."""
    main = stream(3, "gatehouse desk", stop=2, levels=look((1, 6, 40)))
    backup = stream(3, "gatehouse backup", stop=2, priority=90)
    assert "- DMX channels 1-20: gatehouse desk, by the higher priority (100 before 90)." in text([*main, *backup])
    tie = " ".join(text([*main, *stream(3, "orchard", stop=2, levels=look((4, 9, 60)))]).split())
    highest = "Now one that takes the highest level follows gatehouse desk."
    assert (
        "- DMX channels 1-3: the receiver decides between gatehouse desk and orchard, which have the same priority 100; "
        f"no standard does. {highest} - DMX channels 4-9: the receiver decides" in tie
    )
    assert "- DMX channels 10-20: the receiver decides" in tie
    assert "no standard does. Now all send the same levels." in tie
    nodes = [*artnet(3, "gatehouse desk", stop=2), *artnet(3, "orchard", stop=2, levels=look((1, 9, 7)))]
    assert "the node decides between gatehouse desk" not in text(nodes)
    both = " ".join(text(nodes, Look(ARTNET, 3, 1, 9)).split())
    assert "- DMX channels 1-9: the node decides between 10.0.0.10 and 10.0.0.23: Art-Net knows no priority." in both
    apart = [*artnet(3, "gatehouse desk", to=WALK), *artnet(3, "orchard", to=BOATHOUSE)]
    assert "No two sources reach the same receiver now." in text(apart, Look(ARTNET, 3, 1, 9))


@pytest.mark.parametrize("width", [40, 80, 110])
def test_it_fits(width: int) -> None:
    for line in text(EVENING, width=width).splitlines():
        assert cells(line) <= width


def test_a_long_evening_is_folded() -> None:
    told = text(stream(3, hz=1, stop=200, levels=lambda i: look((1, 1, i % 2 * 255))))
    changes = told[told.index("CHANGES") :].splitlines()
    assert len(changes) == 1 + MOST_LINES + 1
    assert "(140 lines left out: name fewer DMX channels, or use --json)" in changes


def test_what_is_kept_of_a_longer_history() -> None:
    player = play(stream(3, stop=4, levels=lambda i: look((1, 1, i + 1))), look=LOOK)
    history = player.network.history
    assert history is not None
    for _ in range(60):
        history.changes.popleft()
    told = render(player.snapshot(), [], zone=UTC)
    assert "17:22:12.606  A 1 24 % (61), 2-20 off\n17:22:12.631  A 99 changes in 2.5 s" in told
    assert "on DMX channel 1; then 1 63 % (160)" in told


def test_copies_are_told_once() -> None:
    """Unicast to several receivers."""
    told = text([e for to in (WALK, ORCHARD, BOATHOUSE) for e in stream(3, DESK, stop=1, to=to, levels=look((1, 3, 9)))])
    assert "to 10.0.0.21, priority 100, 40 frames; the same\n    to 10.0.0.23 and 10.0.0.24" in told
    assert told.count("begins") == 1


def test_a_return_a_priority_and_a_preview() -> None:
    back = stream(3, start=5, stop=6, priority=120)
    told = text([*stream(3, stop=1), *back, *stream(3, start=6, stop=7, first=40, options=frames.PREVIEW)])
    assert "17:22:16.106  A is back after 4 s, priority 120, 1-20 off" in told
    assert "17:22:17.106  A preview only from here on, priority 100" in told


def test_art_net_and_nobody() -> None:
    told = text(artnet(21, stop=1, levels=bytes([255, 0])), Look(ARTNET, 21, 1, 3))
    assert "LEVELS OF ART-NET UNIVERSE 0.1.5 (21), DMX CHANNELS 1-3" in told
    assert "A begins: 1 full, 2 off, 3 not sent" in told
    assert "Nothing was heard of it." in text(stream(4), Look(E131, 3))
