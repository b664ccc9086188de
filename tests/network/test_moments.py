"""Moments that an eye sees as a flicker (common practice, no source)."""

from __future__ import annotations

import sys

from netwatch.decode.tables import E131
from netwatch.network.history import CHANGE_BYTES, Look
from netwatch.network.moments import Flick, flicks
from netwatch.numbers import DEFAULTS
from tests.stories import frames
from tests.stories.playing import play
from tests.stories.script import ns, stream


def found(*levels: bytes, hz: float = 40, **more: object) -> list[Flick]:
    """The flicks of one source that sends these frames."""
    events = stream(7, hz=hz, stop=len(levels) / hz, levels=lambda i: levels[i], **more)  # type: ignore[arg-type]
    history = play(events, look=Look(E131, 7, 1, 3)).network.history
    assert history is not None
    return flicks(history.changes, DEFAULTS)


ON, OFF, ODD = bytes([200, 200, 200]), bytes(3), bytes([200, 40, 200])


def test_one_frame_unlike_its_neighbours() -> None:
    [flick] = found(*[ON] * 9, ODD, *[ON] * 9)
    assert (flick.what, flick.at, flick.n, flick.frames, flick.channels) == ("one frame", ns(9 / 40), 10, 1, (1,))
    assert (flick.level, flick.stood, flick.until) == (40, 200, ns(10 / 40))


def test_it_shows_beside_a_fade_on_other_channels() -> None:
    [flick] = found(*(bytes([i, 77 if i == 10 else 5, 0]) for i in range(20)))
    assert flick.channels == (1,)


def test_all_at_zero_for_a_frame_or_two() -> None:
    [flick] = found(*[ON] * 9, OFF, *[ODD] * 9)
    assert (flick.what, flick.frames, flick.channels, flick.level, flick.stood) == ("zero", 1, (0, 1, 2), 0, 200)
    assert [f.frames for f in found(*[ON] * 9, OFF, OFF, *[ON] * 9)] == [2]


def test_what_is_no_flicker() -> None:
    """A cut to black, a step, a fade, a strobe, an effect, a first frame, a slow sender's flash of a second."""
    assert found(*[ON] * 9, *[OFF] * 9) == []
    assert found(*[ON] * 9, *[OFF] * 9, *[ON] * 9) == []
    assert found(*[ON] * 9, *[ODD] * 9) == []
    assert found(*(bytes([i, i, i]) for i in range(30))) == []
    assert found(*[ON, ODD] * 20) == []
    assert found(*(bytes([i * 37 & 255, i * 91 & 255, 1]) for i in range(60))) == []
    assert found(ODD, *[ON] * 9) == []
    assert found(*[ON] * 9, ODD, *[ON] * 9, hz=1) == []


def test_other_channels_do_not_matter() -> None:
    assert found(*[ON + bytes([9])] * 9, ON + bytes([1]), *[ON + bytes([9])] * 9) == []


def test_black_at_the_end_is_none() -> None:
    """Zeros with the farewell (E1.31-2018 6.2.6), and a silence, are no flicker."""
    assert found(*[ON] * 9, OFF, OFF, OFF) == []
    assert found(*[ON] * 9, OFF, *[ON] * 3, options=frames.TERMINATED) == []


def test_a_change_takes_no_more_than_is_reckoned() -> None:
    """Python's own figures: the object, its integers (32 bytes each), its octets."""
    history = play(stream(7, stop=0.1, levels=bytes([1, 2, 3])), look=Look(E131, 7, 1, 512)).network.history
    assert history is not None
    change = history.changes[0]
    held = [change.at, change.n, change.before or 0, change.frame]
    total = sys.getsizeof(change) + sum(max(32, sys.getsizeof(each)) for each in held) + sys.getsizeof(change.levels) + 8
    assert total <= CHANGE_BYTES + 512
