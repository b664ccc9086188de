"""Same capture, same answer, however it was cut: a law of the project's own (no outside source).

Rigs are made at random; the picture at the end must be the same for one batch, for batches cut anywhere (inside a tick, too),
for single packets, and when no two ticks are folded together.
"""

from __future__ import annotations

import json
from dataclasses import replace
from random import Random
from unittest.mock import patch

from hypothesis import example, given, settings
from hypothesis import strategies as st

from netwatch.numbers import DEFAULTS
from netwatch.story.document import document
from netwatch.story.snapshot import Snapshot
from tests.stories.acn_frames import discovery
from tests.stories.boxes import BOATHOUSE, DESK, ORCHARD, POND, WALK
from tests.stories.frames import announce, e131
from tests.stories.playing import NS, START, Cut, Event, cut_at, difference, picture, play, singly
from tests.stories.rigs import PORTS, damaged, moved, rig
from tests.stories.script import at

SEEDS = st.integers(0, 1 << 32)
VANTAGES = st.sampled_from([None, None, "mirror", "ordinary"])
NARROW = replace(
    DEFAULTS, cap_flows=7, cap_hosts=6, cap_clients=2, cap_servers=1, cap_segments=2, cap_groups=3, cap_records_tick=3,
    cap_records_mac=2, cap_subjects=2,
)  # fmt: skip
"""So small that every table overflows."""


def anywhere(events: list[Event], seed: int) -> Cut:
    """A few cuts, or as many as there are packets."""
    random = Random(seed)
    return cut_at({random.randrange(len(events)) for _ in range(random.choice((1, 3, 30, len(events))))})


def told(events: list[Event], cut: Cut = lambda place: False, **given: object) -> Snapshot:
    phase = "building" if len(events) % 2 else "show"
    return picture(play(events, PORTS, cut=cut, phase=phase, **given))  # type: ignore[arg-type]


@settings(max_examples=14, deadline=None)
@given(SEEDS, SEEDS, VANTAGES)
def test_batches_may_be_cut_anywhere(seed: int, cuts: int, vantage: str | None) -> None:
    events = rig(seed)
    assert not difference(told(events, vantage=vantage), told(events, anywhere(events, cuts), vantage=vantage))


@settings(max_examples=4, deadline=None)
@given(SEEDS)
def test_every_packet_may_come_alone(seed: int) -> None:
    events = rig(seed)
    assert not difference(told(events), told(events, singly))


@settings(max_examples=7, deadline=None)
@given(SEEDS, SEEDS, VANTAGES)
def test_every_tick_may_be_folded_alone(seed: int, cuts: int, vantage: str | None) -> None:
    events = rig(seed)
    whole = told(events, vantage=vantage)
    with patch("netwatch.story.play._MOST_CELLS", 1):
        assert not difference(whole, told(events, anywhere(events, cuts), vantage=vantage))


@settings(max_examples=7, deadline=None)
@given(SEEDS, SEEDS, VANTAGES)
def test_wrong_octets_are_no_trouble(seed: int, cuts: int, vantage: str | None) -> None:
    """Nothing raises, and all can be written down."""
    events = damaged(rig(seed), cuts)
    whole = told(events, vantage=vantage)
    json.dumps(document(whole, ()))
    assert not difference(whole, told(events, anywhere(events, cuts), vantage=vantage))


@settings(max_examples=6, deadline=None)
@example(1, 63_222)
@given(SEEDS, st.integers(1, 63_222))
def test_another_year_tells_the_same(seed: int, days: int) -> None:
    """Any day to the end of 2199: past 2116 a packet broke the fold, times were too far apart for int64 (found by fuzzing)."""
    events = [each for each in rig(seed) if START <= each.time < START + 3_600 * NS]
    later = days * 86_400 * NS
    one, other = (told(each, vantage="mirror").alerts for each in (events, [moved(each, later) for each in events]))
    assert [(each.code, each.subject, each.severity, each.since + later) for each in one] == [
        (each.code, each.subject, each.severity, each.since) for each in other
    ]


@settings(max_examples=7, deadline=None)
@given(SEEDS, SEEDS)
def test_full_tables_forget_the_same(seed: int, cuts: int) -> None:
    events = rig(seed)
    assert not difference(told(events, numbers=NARROW), told(events, anywhere(events, cuts), numbers=NARROW))


def test_light_speaks_for_an_address_that_is_known_again_later_in_the_tick() -> None:
    """The box was forgotten; its light counts as established, and only then it names itself. Found by fuzzing."""
    others = [announce(box) for box in (WALK, POND, ORCHARD, BOATHOUSE)]
    events = [
        *at(0.01, e131(DESK, 1, 0, bytes(4))), *at(0.3, *others), *at(1.01, e131(DESK, 1, 1, bytes(4))),
        *at(2.01, e131(DESK, 1, 2, bytes(4)), discovery(DESK, (1,))), *at(2.3, *others),
    ]  # fmt: skip
    whole = told(events, numbers=NARROW)
    assert DESK.mac in [host.mac for host in whole.hosts]
    for place in range(1, len(events)):
        assert not difference(whole, told(events, cut_at({place}), numbers=NARROW)), place
