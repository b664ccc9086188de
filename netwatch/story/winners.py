"""Who wins each universe, for a snapshot: only where there is a question, and slot by slot only where the answer differs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from netwatch.alerts.scene import protocol_name
from netwatch.decode.tables import E131, UNICAST
from netwatch.decode.text import address_text, mac_text
from netwatch.network.history import Look
from netwatch.network.network import Network, vlan
from netwatch.network.winner import NOBODY, RULES, Bid, Verdict, bid_of, decide
from netwatch.story.light_views import LevelWon, SlotsWon, WinnerView

_TIE = RULES.index("receiver decides")


def winners(network: Network, now: int) -> tuple[WinnerView, ...]:
    """Of all universes with several sources, or with priorities slot by slot; by universe."""
    found = [
        _winner(network, key, flows, now) for key, flows in sorted(_universes(network).items())
        if len(flows) > 1 or flows[0] in network.streams.slotwise.flows
    ]  # fmt: skip
    return tuple(found)


def _universes(network: Network) -> dict[tuple[int, int, int], list[int]]:
    """The newest flow of each source by (protocol, universe, segment); without those that go to different receivers."""
    streams = network.streams
    out: dict[tuple[int, int, int], list[int]] = {}
    to: dict[tuple[int, int, int], list[set[int]]] = {}
    for flows in streams.of_streams().values():
        flow = max(flows, key=lambda each: (int(streams.last[each]), -each))
        key = int(streams.protocol[flow]), int(streams.universe[flow]), int(streams.segment[flow])
        out.setdefault(key, []).append(flow)
        unicast = all(int(streams.cast[each]) == UNICAST for each in flows)
        to.setdefault(key, []).append({int(streams.dst[each]) for each in flows} if unicast else {-1})
    return {key: flows for key, flows in out.items() if len(flows) == 1 or _meet(to[key])}


def _meet(to: Sequence[set[int]]) -> bool:
    """Do two sources reach the same receiver? -1 = all."""
    return -1 in set().union(*to) or len(set().union(*to)) < sum(len(each) for each in to)


def _winner(network: Network, key: tuple[int, int, int], flows: list[int], now: int) -> WinnerView:
    protocol, universe, segment = key
    bids = [bid_of(network, flow, now) for flow in flows]
    ids = [network.source_id(flow) for flow in flows]
    rule, winner, tied, channels = _plainly(bids) or _slotwise(bids, ids)
    excluded = tuple((ids[place], why) for place, bid in enumerate(bids) if (why := left_out(bid)))
    return WinnerView(
        network.interface(segment), vlan(segment), protocol_name(protocol), universe, rule,
        None if winner is None else ids[winner], tuple(ids[place] for place in tied), excluded, channels,
    )  # fmt: skip


_Answer = tuple[str, int | None, Sequence[int], tuple[SlotsWon, ...]]


def _plainly(bids: Sequence[Bid]) -> _Answer | None:
    """The answer without a look at slots, where one answer holds for all of them; else None."""
    live = [place for place, bid in enumerate(bids) if bid.counts]
    if not live:
        return "nobody", None, (), ()
    top = max(bids[place].priority for place in live)
    leaders = [place for place in live if bids[place].priority == top]
    most = max(bids[place].slots for place in live)
    if any(bids[place].slot_priority is not None for place in live) or any(bids[place].slots < most for place in leaders):
        return None
    if len(leaders) > 1:
        return "receiver decides", None, leaders, ()
    return ("priority" if len(live) > 1 else "alone"), leaders[0], (), ()


def _slotwise(bids: Sequence[Bid], ids: Sequence[str]) -> _Answer:
    verdict = decide(bids, merges=False)
    winner, rule = verdict.universe()
    tied = _tied(bids, verdict)
    runs = [
        SlotsWon(a + 1, b + 1, RULES[verdict.rule[a]], None if verdict.winner[a] == NOBODY else ids[int(verdict.winner[a])],
                 tuple(ids[place] for place in tied[a]))
        for a, b in _runs([(int(verdict.rule[slot]), int(verdict.winner[slot]), tied[slot]) for slot in range(len(verdict.rule))])
    ]  # fmt: skip
    return rule, winner, verdict.tied, tuple(runs) if len(runs) > 1 else ()


def _tied(bids: Sequence[Bid], verdict: Verdict) -> list[tuple[int, ...]]:
    """[512] the sources between which the receiver decides, slot by slot: those that would win were they the brightest."""
    out: list[tuple[int, ...]] = [()] * len(verdict.rule)
    at = np.flatnonzero(verdict.rule == _TIE)
    if not len(at):
        return out
    wins = {}
    for place in verdict.tied:
        probe = [
            Bid(bid.priority, np.full_like(bid.levels, 255 if other == place else 0), bid.slots, bid.slot_priority, bid.preview,
                bid.terminated, bid.lost)
            for other, bid in enumerate(bids)
        ]  # fmt: skip
        wins[place] = decide(probe).winner == place
    for slot in at.tolist():
        out[slot] = tuple(place for place in verdict.tied if wins[place][slot])
    return out


def _runs(keys: Sequence[object]) -> list[tuple[int, int]]:
    """(first, last) place of each run of equal keys."""
    edges = [place for place in range(1, len(keys)) if keys[place] != keys[place - 1]]
    return list(zip([0, *edges], [edge - 1 for edge in [*edges, len(keys)]], strict=True))


def left_out(bid: Bid) -> str:
    """Why a source can't win, '' = it can."""
    return "ended" if bid.terminated else "silent" if bid.lost else "preview" if bid.preview else ""


# ---- the universe that is looked at ----


def won(network: Network, look: Look, now: int) -> tuple[LevelWon, ...]:
    """Its range, run by run and network by network."""
    out = []
    for (protocol, universe, segment), flows in sorted(_universes(network).items()):
        if (protocol, universe) == (look.protocol, look.universe):
            out += _won(network, segment, look, flows, [bid_of(network, flow, now) for flow in flows])
    return tuple(out)


def _won(network: Network, segment: int, look: Look, flows: Sequence[int], bids: Sequence[Bid]) -> list[LevelWon]:
    verdict = decide(bids, merges=False)
    merged, tied = decide(bids), _tied(bids, verdict)
    streams = network.streams
    names = [
        network.flow_name(flow) or called(network, segment, int(streams.mac[flow])) or address_text(int(streams.src[flow]))
        for flow in flows
    ]  # fmt: skip
    keys = []
    for slot in range(look.first - 1, look.last):
        highest = None
        if tied[slot]:
            levels = {int(bids[place].levels[slot]) for place in tied[slot]}
            highest = names[int(merged.winner[slot])] if len(levels) > 1 else ""
        winner = int(verdict.winner[slot])
        keys.append((RULES[verdict.rule[slot]], tied[slot] or (() if winner == NOBODY else (winner,)), highest))
    return [
        LevelWon(
            network.interface(segment), vlan(segment), look.first + a, look.first + b, keys[a][0],
            tuple(names[place] for place in keys[a][1]),
            _priorities(bids, keys[a][0], keys[a][1]) if look.protocol == E131 else (), keys[a][2],
        )
        for a, b in _runs(keys)
    ]  # fmt: skip


def called(network: Network, segment: int, mac: int) -> str:
    """What a box calls itself, '' = nothing."""
    name = network.box_name(segment, mac)
    return "" if not mac or name == mac_text(mac) else name


def _priorities(bids: Sequence[Bid], rule: str, places: Sequence[int]) -> tuple[int, ...]:
    if not places or rule == "slot priority" or any(bid.slot_priority is not None for bid in bids if bid.counts):
        return ()
    top = bids[places[0]].priority
    lower = [bid.priority for bid in bids if bid.counts and bid.priority < top]
    return (top, max(lower)) if rule == "priority" and lower else (top,)
