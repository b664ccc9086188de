"""Who wins: ANSI E1.31-2018 6.2.3 (highest priority), 6.2.3.1 to 6.2.3.3 (ties are the receiver's), 6.2.6 (preview, terminated),
6.7.1 (data loss). Slot by slot (START code 0xDD) as two public merge libraries have it; no ANSI text."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.network.winner import NOBODY, RULES, Bid, Verdict, bid_of, decide
from tests.stories import frames
from tests.stories.playing import play
from tests.stories.script import at, ns


def levels(*values: int) -> np.ndarray:
    """[512] the given levels, then zeros."""
    out = np.zeros(512, np.uint8)
    out[: len(values)] = values
    return out


def full(value: int) -> np.ndarray:
    return np.full(512, value, np.uint8)


def rule(verdict: Verdict, slot: int = 0) -> str:
    return RULES[int(verdict.rule[slot])]


def test_nobody_sends():
    """6.7.1."""
    verdict = decide([])
    assert verdict.universe() == (None, "nobody")
    assert (verdict.winner == NOBODY).all()


def test_one_source_has_it_all():
    verdict = decide([Bid(0, levels(5, 6))])
    assert verdict.universe() == (0, "alone")
    assert verdict.level[:3].tolist() == [5, 6, 0]


def test_200_beats_100_whatever_the_levels():
    """6.2.3: 'the highest priority ... shall be treated as the definitive data'; 0 is the lowest."""
    verdict = decide([Bid(100, full(255)), Bid(200, levels(1)), Bid(0, full(9))])
    assert verdict.universe() == (1, "priority")
    assert verdict.level[:2].tolist() == [1, 0]
    assert verdict.tied == ()


def test_a_tie_is_merged_by_the_highest_level():
    """6.2.3.1 names HTP as the most common way."""
    verdict = decide([Bid(100, levels(10, 90, 40)), Bid(100, levels(20, 80, 40)), Bid(99, full(255))])
    assert verdict.winner[:3].tolist() == [1, 0, 0]
    assert verdict.level[:3].tolist() == [20, 90, 40]
    assert verdict.universe() == (None, "highest level")
    assert verdict.tied == (0, 1)


def test_a_tie_is_the_receivers_where_it_is_not_known_to_merge():
    """6.2.3.3: nothing is mandated."""
    verdict = decide([Bid(100, full(10)), Bid(100, full(20))], merges=False)
    assert verdict.universe() == (None, "receiver decides")
    assert rule(verdict) == "receiver decides"
    assert (verdict.winner == NOBODY).all()
    assert verdict.tied == (0, 1)


@pytest.mark.parametrize("left_out", ["preview", "terminated", "lost"])
def test_who_is_left_out(left_out: str):
    """6.2.6, 6.7.1."""
    verdict = decide([Bid(100, full(10)), Bid(200, full(20), **{left_out: True})])
    assert verdict.universe() == (0, "alone")


def test_slots_behind_the_end_are_not_controlled():
    """3.7, active data slots."""
    verdict = decide([Bid(100, levels(7, 7), slots=2), Bid(90, full(3))])
    assert verdict.winner[:4].tolist() == [0, 0, 1, 1]


def test_a_priority_for_each_slot():
    """0 = does not control the slot."""
    desk = Bid(100, full(50), slot_priority=levels(100, 0, 150))
    panel = Bid(100, full(60), slot_priority=levels(0, 100, 120, 80))
    verdict = decide([desk, panel])
    assert verdict.winner[:5].tolist() == [0, 1, 0, 1, NOBODY]
    assert [rule(verdict, slot) for slot in range(3)] == ["slot priority"] * 3
    assert verdict.level[:5].tolist() == [50, 60, 50, 60, 0]


def test_slot_priorities_against_one_for_the_universe():
    """The universe's priority counts for all slots of the other, and 0 counts as 1 there."""
    slotwise, plain = Bid(200, full(50), slot_priority=levels(90, 110, 1)), Bid(100, full(60))
    assert decide([slotwise, plain]).winner[:4].tolist() == [1, 0, 1, 1]
    verdict = decide([slotwise, Bid(0, full(60))])
    assert verdict.winner[:4].tolist() == [0, 0, 1, 1]
    assert rule(verdict, 2) == "highest level"


def test_who_wins_as_heard():
    """A desk and its backup below it, a visualiser's preview above both, a panel that signed off."""
    panel = frames.e131("orchard", 7, 3, full(9).tobytes(), priority=150, options=frames.TERMINATED)
    player = play([
        *at(0, frames.e131("gatehouse desk", 7, 0, full(50).tobytes())),
        *at(0.1, frames.e131("gatehouse backup", 7, 0, full(60).tobytes(), priority=90)),
        *at(0.2, frames.e131("mill pond", 7, 0, full(70).tobytes(), priority=200, options=frames.PREVIEW)), *at(0.3, panel),
        *at(0.4, frames.e131("gatehouse desk", 7, 1, bytes((100,)), start_code=0xDD)), *at(0.5, frames.e131("gatehouse desk", 8)),
    ])  # fmt: skip
    network = player.network
    flows = {network.flow_name(flow): flow for flow in range(network.streams.table.held) if network.streams.universe[flow] == 7}
    assert list(flows) == ["gatehouse desk", "gatehouse backup", "mill pond", "orchard"]
    verdict = decide([bid_of(network, flow, ns(1)) for flow in flows.values()])
    assert verdict.winner[:3].tolist() == [0, 1, 1]
    assert verdict.level[:3].tolist() == [50, 60, 60]


BIDS = st.lists(
    st.builds(
        Bid, st.integers(0, 200), st.integers(0, 255).map(full), st.integers(0, 512), st.none() | st.integers(0, 200).map(full),
        st.booleans(), st.booleans(), st.booleans(),
    ),
    max_size=5,
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(BIDS)
def test_the_winner_has_the_highest_priority_and_is_allowed_to_win(bids: list[Bid]):
    """A slow reading of the same clauses, slot by slot."""
    verdict = decide(bids)
    slotwise = any(bid.slot_priority is not None for bid in bids if bid.counts)
    for slot in (0, 1, 100, 511):
        offers = {}
        for place, bid in enumerate(bids):
            if bid.preview or bid.terminated or bid.lost or slot >= bid.slots:
                continue
            offer = int(bid.slot_priority[slot]) if bid.slot_priority is not None else max(bid.priority, int(slotwise))
            if bid.slot_priority is None or offer:
                offers[place] = offer
        leaders = [place for place, offer in offers.items() if offer == max(offers.values())]
        if not leaders:
            assert verdict.winner[slot] == NOBODY
            continue
        best = max(leaders, key=lambda place: (int(bids[place].levels[slot]), -place))
        assert verdict.winner[slot] == best
        assert verdict.level[slot] == bids[best].levels[slot]
        assert (rule(verdict, slot) == "highest level") == (len(leaders) > 1)
