"""Two sessions side by side: boxes, who gives addresses, who keeps multicast alive."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from netwatch.report.pair import A, B, Box, Pair
from netwatch.story.snapshot import QuerierView, ServerView
from netwatch.words import report as said

Found = tuple[str, Mapping[str, Any]]
"""Kind, and its facts."""


def apart(pair: Pair) -> Iterator[Found]:
    """All that differs."""
    yield from _boxes(pair)
    for one, other in pair.same:
        yield from _box(pair, one, other)
    if pair.a.people != pair.b.people:
        yield "people", {"before": pair.a.people, "after": pair.b.people}
    yield from _servers(pair)
    yield from _queriers(pair)


def _boxes(pair: Pair) -> Iterator[Found]:
    for letter, what in ((B, "box-missing"), (A, "box-new")):
        for box in pair.alone(A if letter == B else B):
            light = bool(box.asks or box.outputs)
            grave = {"grave": "soon"} if light and letter == B else {}
            unsure = pair.unsure(letter, rare=True)
            yield what, {"who": box.who, "mac": box.mac, "addresses": box.addresses, "unsure": unsure, **grave}


def _box(pair: Pair, one: Box, other: Box) -> Iterator[Found]:
    who, both = {"who": one.who}, {"mac": other.mac}
    if one.mac != other.mac:
        yield "box-changed", {**who, "before": one.mac, "after": other.mac}
    if one.addresses and other.addresses and not set(one.addresses) & set(other.addresses):
        light = bool(one.asks or one.outputs)
        yield "box-moved", {
            "who": _named(one), **both, "before": one.addresses[-1:], "after": other.addresses[-1:],
            **({"grave": "soon"} if light else {}),
        }  # fmt: skip
    if one.names and other.names and not set(one.names) & set(other.names):
        yield "box-name", {**who, **both, "before": one.names, "after": other.names}
    if one.firmware and other.firmware and one.firmware != other.firmware:
        shown = [", ".join(said.firmware(int(each)) for each in box.firmware) for box in (one, other)]
        yield "firmware", {**who, **both, "before": shown[0], "after": shown[1]}
    if one.outputs and other.outputs and one.outputs != other.outputs:
        yield "outputs", {**who, **both, **_sets(one.outputs, other.outputs)}
    if one.asks and other.asks and one.asks != other.asks:
        changed = _sets(one.asks, other.asks)
        # From where reports of others are not heard in full, a request that lacks proves nothing.
        yield "asks", {**who, **both, **changed, "unsure": pair.unsure(B) if changed["less"] else pair.unsure(A)}


def _named(box: Box) -> str:
    return box.who.rsplit(" (", 1)[0] if box.names else f"MAC {box.mac}"


def _sets(before: Sequence[int], after: Sequence[int]) -> dict[str, list[int]]:
    return {"more": sorted(set(after) - set(before)), "less": sorted(set(before) - set(after))}


def _servers(pair: Pair) -> Iterator[Found]:
    before: dict[str, ServerView] = {each.address: each for each in pair.a.snapshot.servers}
    after: dict[str, ServerView] = {each.address: each for each in pair.b.snapshot.servers}
    for address, server in after.items():
        if address not in before:
            others = [each for each in after if each != address]
            yield "server-new", {"who": address, "mac": server.mac, "others": others, "unsure": pair.unsure(A)}
        elif server.mac and before[address].mac and server.mac != before[address].mac:
            yield "server-changed", {"who": address, "before": before[address].mac, "after": server.mac}
    for address, server in before.items():
        if address not in after:
            yield "server-missing", {"who": address, "mac": server.mac, "unsure": pair.unsure(B, rare=True)}


def _queriers(pair: Pair) -> Iterator[Found]:
    before: dict[str, QuerierView] = {each.address: each for each in pair.a.snapshot.queriers}
    after: dict[str, QuerierView] = {each.address: each for each in pair.b.snapshot.queriers}
    for address, querier in after.items():
        if address not in before:
            others = [each for each in after if each != address]
            grave = {"grave": "quality"} if others else {}
            yield "querier-new", {"who": address, "others": others, "unsure": pair.unsure(A), **grave}
            continue
        earlier = before[address]
        if querier.version != earlier.version:
            yield "querier-version", {"who": address, "before": earlier.version, "after": querier.version}
        if earlier.interval and querier.interval and _differ(earlier.interval, querier.interval, pair.numbers.compare_rate_share):
            yield "querier-interval", {"who": address, "before": earlier.interval, "after": querier.interval}
    for address, querier in before.items():
        if address not in after:
            # As long as it may just not have asked yet, its silence says nothing.
            waiting = pair.b.lasts < 2e9 * (querier.interval or pair.numbers.query_interval_s)
            grave = {"grave": "quality" if after else "soon"}
            yield "querier-missing", {"who": address, "others": list(after), "unsure": B if waiting else pair.unsure(B), **grave}


def _differ(before: float, after: float, share: float) -> bool:
    return abs(after - before) > share * max(before, after)
