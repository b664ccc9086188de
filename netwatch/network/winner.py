"""Who wins a universe, and each of its slots: priority, priority slot by slot, highest level (E1.31-2018 6.2.3).

The highest priority is definitive (6.2.3). Slot by slot, START code 0xDD (6.2.3.2 names it) stands in place of the universe's
priority: 0 = this source does not control the slot; beside it a universe priority of 0 counts as 1 (public merge libraries, no
ANSI text). Among sources with the same, highest priority no standard decides: receivers may merge (the highest level is the most
common way), choose, or take none (6.2.3.1 to 6.2.3.3). Preview never drives output, a terminated source no longer counts (6.2.6).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from netwatch.network.streams import PREVIEW, TERMINATED

if TYPE_CHECKING:
    from netwatch.network.network import Network

I64 = npt.NDArray[np.int64]
U8 = npt.NDArray[np.uint8]
Rule = Literal["nobody", "alone", "priority", "slot priority", "highest level", "receiver decides"]

SLOTS = 512
NOBODY = -1
"""No source controls the slot."""
RULES: tuple[Rule, ...] = ("nobody", "alone", "priority", "slot priority", "highest level", "receiver decides")
"""What decided, by number: ``Verdict.rule`` holds places in it."""


@dataclass(frozen=True, slots=True, eq=False)
class Bid:
    """One source on one universe."""

    priority: int
    levels: U8
    """[512], zero behind its slots."""
    slots: int = SLOTS
    """How many slots it sends."""
    slot_priority: U8 | None = None
    """[512], while it sends them."""
    preview: bool = False
    terminated: bool = False
    lost: bool = False
    """Nothing came of it for the network data loss time (6.7.1)."""

    @property
    def counts(self) -> bool:
        """It may drive output."""
        return not (self.preview or self.terminated or self.lost)


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """Who wins, as far as standards and common receivers go. Sources by their place in the list of bids."""

    winner: I64
    """[512] the source whose level a receiver that merges by highest level shows; NOBODY = no source controls the slot."""
    rule: I64
    """[512] what decided, a place in RULES."""
    level: U8
    """[512] that level; 0 where nobody controls the slot."""
    tied: tuple[int, ...]
    """Sources with the highest priority anywhere together with another: which of them wins is up to the receiver."""

    def universe(self) -> tuple[int | None, Rule]:
        """(the one source that wins all slots that somebody controls, None where it isn't one; the last rule that was needed)."""
        deciding = RULES[int(self.rule.max())]
        winners = np.unique(self.winner[self.winner != NOBODY])
        alone = len(winners) == 1 and deciding not in ("highest level", "receiver decides")
        return (int(winners[0]) if alone else None), deciding


def decide(bids: Sequence[Bid], *, merges: bool = True) -> Verdict:
    """``merges`` = False for receivers that are not known to take the highest level: there ties are theirs to decide."""
    places = [place for place, bid in enumerate(bids) if bid.counts]
    winner, rule = np.full(SLOTS, NOBODY, np.int64), np.zeros(SLOTS, np.int64)
    level = np.zeros(SLOTS, np.uint8)
    if not places:
        return Verdict(winner, rule, level, ())
    slotwise = any(bids[place].slot_priority is not None for place in places)
    priority = np.stack([_priorities(bids[place], slotwise) for place in places])
    levels = np.stack([bids[place].levels for place in places]).astype(np.int64)
    top = priority.max(axis=0)
    leads = (priority == top) & (top >= 0)
    # Among the leaders the highest level; the first in the list where levels are the same.
    best = np.where(leads, levels, -1).argmax(axis=0)
    held = top >= 0
    winner[held] = np.array(places)[best[held]]
    level[held] = levels[best, np.arange(SLOTS)][held]
    ties = leads.sum(axis=0) > 1
    rule[held] = _rules(bids, places, priority, leads)[held]
    rule[held & ties] = RULES.index("highest level" if merges else "receiver decides")
    if not merges:
        winner[held & ties], level[held & ties] = NOBODY, 0
    tied = tuple(place for at, place in enumerate(places) if (leads[at] & ties).any())
    return Verdict(winner, rule, level, tied)


def _priorities(bid: Bid, slotwise: bool) -> I64:
    """[512], -1 where the source does not control the slot."""
    own: npt.NDArray[np.bool_] = np.less(np.arange(SLOTS), bid.slots)
    if bid.slot_priority is not None:
        own &= bid.slot_priority > 0
        return np.where(own, bid.slot_priority.astype(np.int64), -1)
    return np.where(own, max(bid.priority, 1) if slotwise else bid.priority, -1)


def _rules(bids: Sequence[Bid], places: Sequence[int], priority: I64, leads: npt.NDArray[np.bool_]) -> I64:
    """[512] what decided where one source leads: nothing beside it, its priority, or one for the slot alone."""
    others = (priority >= 0).sum(axis=0) > 1
    slotwise = np.array([bids[place].slot_priority is not None for place in places])
    involved = ((priority >= 0) & slotwise[:, None]).any(axis=0)
    # Another source sends a priority of 0 for the slot: it leaves it on purpose.
    left = ((priority < 0) & slotwise[:, None]).any(axis=0)
    out = np.where(others, RULES.index("priority"), RULES.index("alone"))
    return np.where((others & involved) | (~others & left & leads.any(axis=0)), RULES.index("slot priority"), out)


def bid_of(network: Network, flow: int, now: int) -> Bid:
    """What a flow sends now; for Art-Net, which has no priority, with 0."""
    streams, slotwise = network.streams, network.streams.slotwise.flows.get(flow)
    options, last = int(streams.options[flow]), max(int(streams.last[flow]), network.hole_end)
    return Bid(
        int(streams.priority[flow]), streams.levels[flow].copy(), max(int(streams.slots[flow]), 0),
        None if slotwise is None else slotwise.values.copy(), bool(options & PREVIEW), bool(options & TERMINATED),
        now - last > int(streams.silence[flow]),
    )  # fmt: skip
