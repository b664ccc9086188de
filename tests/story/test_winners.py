"""Who wins, as the snapshot and the JSON document tell it: E1.31-2018 6.2.3 (highest priority), 6.2.3.1 to 6.2.3.3 (ties),
6.2.6 (preview, terminated), 6.7.1 (data loss); START code 0xDD as two public merge libraries have it; Art-Net 4 p.62."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.network.winner import Bid, decide
from netwatch.story.document import document
from netwatch.story.light_views import SlotsWon, WinnerView
from netwatch.story.winners import _plainly, _slotwise
from tests.stories import frames
from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, ORCHARD, WALK
from tests.stories.playing import Heard
from tests.stories.script import Line, artnet, every, ns, story, stream

DESK_ID, BACKUP_ID, ORCHARD_ID = DESK.cid.hex(), BACKUP.cid.hex(), ORCHARD.cid.hex()


def won(*lines: Line) -> tuple[WinnerView, ...]:
    """Played in several cuts, which must agree."""
    return story(*lines).winners


def test_the_higher_priority_wins() -> None:
    [winner] = won(stream(7, DESK, stop=4), stream(7, BACKUP, stop=4, priority=90))
    assert (winner.universe, winner.rule, winner.source, winner.tied, winner.channels) == (7, "priority", DESK_ID, (), ())


def test_the_receiver_decides_a_tie() -> None:
    [winner] = won(stream(7, DESK, stop=4), stream(7, BACKUP, stop=4), stream(7, ORCHARD, stop=4, priority=50))
    assert (winner.rule, winner.source, winner.tied) == ("receiver decides", None, (DESK_ID, BACKUP_ID))


def test_who_cannot_win_is_left_out() -> None:
    [winner] = won(
        stream(7, DESK, stop=6), stream(7, BACKUP, stop=1, goodbye=True, priority=150), stream(7, ORCHARD, stop=2, priority=160),
        stream(7, WALK, stop=6, priority=200, options=frames.PREVIEW),
    )  # fmt: skip
    assert (winner.rule, winner.source) == ("alone", DESK_ID)
    assert winner.left_out == ((BACKUP_ID, "ended"), (ORCHARD_ID, "silent"), (WALK.cid.hex(), "preview"))


def test_no_question_no_answer() -> None:
    """One plain source; sources of different universes; copies to several receivers; two that never meet."""
    assert won(stream(7, DESK, stop=2), stream(8, BACKUP, stop=2)) == ()
    assert won(stream(7, DESK, stop=2, to=WALK), stream(7, DESK, stop=2, to=ORCHARD)) == ()
    assert won(artnet(7, DESK, stop=2, to=WALK), artnet(7, BACKUP, stop=2, to=BOATHOUSE)) == ()


def test_channel_by_channel() -> None:
    """The panel takes channels 3 and 4, shares 5 with the desk, and leaves the rest."""
    slotwise = every(1, frames.e131(BACKUP, 7, 0, bytes([0, 0, 150, 150, 100]), start_code=0xDD), stop=4)
    [winner] = won(stream(7, DESK, stop=4), stream(7, BACKUP, stop=4), slotwise)
    assert winner.source is None
    assert winner.channels == (
        SlotsWon(1, 2, "slot priority", DESK_ID), SlotsWon(3, 4, "slot priority", BACKUP_ID),
        SlotsWon(5, 5, "receiver decides", None, (DESK_ID, BACKUP_ID)), SlotsWon(6, 512, "slot priority", DESK_ID),
    )  # fmt: skip


def test_channels_behind_the_winners_end_go_to_the_next() -> None:
    [winner] = won(stream(7, DESK, stop=4, levels=bytes(20)), stream(7, BACKUP, stop=4, priority=90))
    assert [(run.first, run.last, run.source) for run in winner.channels] == [(1, 20, DESK_ID), (21, 512, BACKUP_ID)]


def test_art_net_has_no_priority() -> None:
    [winner] = won(artnet(21, DESK, stop=4), artnet(21, BACKUP, stop=4))
    assert (winner.protocol, winner.universe, winner.rule, winner.tied) == (
        "artnet", 21, "receiver decides", ("10.0.0.10/0", "10.0.0.11/0"),
    )  # fmt: skip


def test_the_document() -> None:
    both = [Heard(ns(i / 40), frames.e131(box, 7, i, priority=p)) for i in range(80) for box, p in ((DESK, 100), (BACKUP, 90))]
    assert document(story(both), [])["winners"] == [{
        "protocol": "e131", "universe": 7, "rule": "priority", "source": DESK_ID, "tied": [], "left_out": [], "channels": [],
        "interface": "eth0", "vlan": None,
    }]  # fmt: skip


BIDS = st.lists(
    st.builds(
        Bid, st.sampled_from([0, 90, 100, 200]), st.integers(0, 255).map(lambda level: np.full(512, level, np.uint8)),
        st.sampled_from([512, 512, 512, 100]), st.none(), st.booleans(), st.booleans(), st.booleans(),
    ),
    max_size=5,
)  # fmt: skip


@settings(max_examples=100, deadline=None)
@given(BIDS)
def test_the_short_way_agrees_with_the_long_one(bids: list[Bid]) -> None:
    """A law of the project's own: slot by slot, up to the last slot that anybody sends."""
    short = _plainly(bids)
    verdict = decide(bids, merges=False)
    long = _slotwise(bids, [str(place) for place in range(len(bids))])
    if short is not None:
        winner, rule = verdict.universe()
        assert (*short[:2], tuple(short[2])) == (*long[:2], tuple(long[2])) == (rule, winner, verdict.tied)
