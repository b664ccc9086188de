"""What the switch does with multicast: passes everything on, or holds back, and when it will drop a group (RFC 4541).

Nothing here is a verdict. A clock is given only where it can be computed; whether the switch prunes at all is a value of
its own: yes, no, or not known.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import E131, MULTICAST
from netwatch.decode.text import address_text, mac_text
from netwatch.network.clock import NS
from netwatch.network.multicast import Act, Back, Querier
from netwatch.network.streams import TERMINATED
from netwatch.packets.batch import Mark

if TYPE_CHECKING:
    from netwatch.network.figures import Return
    from netwatch.network.network import Network

I64 = npt.NDArray[np.int64]

_LEAVE_ENDS = 3 * NS
"""A leave ends a group at once, or after two questions of a second each (RFC 9776 8.8)."""


@dataclass(frozen=True, slots=True)
class Dark:
    """When a group will no longer be passed on: a moment, or a range where the switch's memory is not known (ns)."""

    at: int
    by: int


def groups_of_light(network: Network) -> dict[tuple[int, str], list[int]]:
    """The established multicast flows of E1.31 by (segment, group)."""
    known, light = network.light
    if known != network.revision_of(()):
        network.light = network.revision_of(()), _groups_of_light(network)
        light = network.light[1]
    return light


def _groups_of_light(network: Network) -> dict[tuple[int, str], list[int]]:
    streams = network.streams
    size = streams.table.size
    light = streams.table.settled[:size] & (streams.cast[:size] == MULTICAST) & (streams.protocol[:size] == E131)
    out: dict[tuple[int, str], list[int]] = {}
    for flow in np.flatnonzero(light).tolist():
        out.setdefault((int(streams.segment[flow]), address_text(int(streams.dst[flow]))), []).append(flow)
    return out


def universes_of(network: Network, segment: int) -> list[int]:
    """Universes that are sent by multicast on a segment."""
    found = [flow for (where, _), flows in groups_of_light(network).items() if where == segment for flow in flows]
    return sorted({int(network.streams.universe[flow]) for flow in found})


def arrives(network: Network, flow: int, now: int) -> bool:
    """Is a flow heard now?"""
    streams = network.streams
    return now - int(streams.last[flow]) <= int(streams.silence[flow])


def sender_outlives(network: Network, flow: int) -> bool:
    """Was a flow's sender heard in another way after the flow fell silent?"""
    streams = network.streams
    return int(streams.senders.heard[streams.alive[flow]]) > int(streams.last[flow]) + int(streams.silence[flow])


def pauses(network: Network, flows: slice) -> I64:
    """[flows] ns that a stream may pause: as it did so far on the whole, at least as light that stands (E1.31-2018 6.6.2)."""
    streams = network.streams
    mean = (streams.last[flows] - streams.first[flows]) // np.maximum(streams.packets[flows] - 1, 1)
    longest: I64 = np.maximum(np.minimum(mean, streams.silence[flows]), int(network.numbers.keep_alive_s * NS))
    return longest


def _just_asked(network: Network, segment: int, group: str, flow: int, now: int) -> bool:
    """Was a group asked for here so late that a stream's next packet need not have come yet?"""
    asked = network.multicast.asked(segment, group, _texts(network.own(segment)))
    return now <= asked + int(network.streams.silence[flow] + pauses(network, slice(flow, flow + 1))[0])


def held_back(network: Network, segment: int, now: int, since: int) -> list[int]:
    """Universes asked for here that fell silent after ``since`` although their senders were heard later."""
    streams, own, out = network.streams, network.own(segment), []
    for (where, group), flows in groups_of_light(network).items():
        if where != segment or any(arrives(network, flow, now) for flow in flows):
            continue
        newest = max(flows, key=lambda flow: int(streams.last[flow]))
        ended = bool(streams.options[newest] & TERMINATED)
        if ended or streams.last[newest] < max(since, network.hole_end) or network.wanted(segment, group, own) == "not wanted":
            continue
        if sender_outlives(network, newest) and not _just_asked(network, segment, group, newest, now):
            out.append(int(streams.universe[newest]))
    return sorted(out)


# ---- does it prune? ----


def watch(network: Network, now: int) -> bool:
    """On the 10 s grid and when due: does unasked light arrive, or stay away? True when something became known."""
    multicast, known, due = network.multicast, False, list[int]()
    for (segment, group), flows in groups_of_light(network).items():
        own = network.own(segment)
        if not own or network.where(segment) == "mirror" or network.wanted(segment, group, own) != "not wanted":
            continue
        if segment not in multicast.floods:
            counts = [time for flow in flows if (time := _floods_from(network, segment, group, own, flow, now)) is not None]
            if any(time <= now for time in counts):
                multicast.floods[segment], known = now, True
            else:
                due += counts
        if segment not in multicast.withheld and any(_stopped_by_query(network, segment, flow, now) for flow in flows):
            multicast.withheld[segment], known = now, True
    for segment in network.segments:
        if segment not in multicast.withheld and segment not in multicast.floods and _announced_only(network, segment, now):
            multicast.withheld[segment], known = now, True
    multicast.look_at = min(due, default=None)
    return known


def _floods_from(network: Network, segment: int, group: str, own: set[int], flow: int, now: int) -> int | None:
    """When light that goes on arriving unasked counts (ns); None = it does not arrive.

    No leave of ours may be young enough to be the reason.
    """
    query = network.multicast.last_query.get(segment)
    begun = max(int(network.streams.first[flow]), query[0] if query else 0, network.hole_end)
    entry = network.multicast.groups.get((segment, group))
    left = [each.left for mac, each in entry.members.items() if each.left is not None and mac in _texts(own)] if entry else []
    if left:
        begun = max(begun, max(left) + int((network.numbers.membership_s + network.numbers.response_s) * NS))
    return begun + int(network.numbers.flooded_after_s * NS) if arrives(network, flow, now) else None


def _stopped_by_query(network: Network, segment: int, flow: int, now: int) -> bool:
    """Unasked light that stopped right after a general query, while its sender lived on: the switch began to prune."""
    last = int(network.streams.last[flow])
    if arrives(network, flow, now) or not sender_outlives(network, flow):
        return False
    settles = int(network.numbers.query_settles_s * NS)
    return any(query <= last <= query + settles for query, _ in network.multicast.queries.get(segment, ()))


def _announced_only(network: Network, segment: int, now: int) -> bool:
    """A controller that is heard says that it sends more universes than arrive here, and nobody here asked for those."""
    own = network.own(segment)
    if not own or network.where(segment) == "mirror":
        return False
    streams = network.streams
    size = streams.table.size
    here = np.flatnonzero(streams.table.settled[:size] & (streams.segment[:size] == segment) & (streams.protocol[:size] == E131))
    heard = {(network.source_id(flow), int(streams.universe[flow])) for flow in here.tolist() if arrives(network, flow, now)}
    fresh = int(network.numbers.listed_within_s * NS)
    for (where, cid), listing in network.announced.items():
        if where != segment or now - listing.last > fresh or cid not in {source for source, _ in heard}:
            continue
        away = listing.universes - {universe for _, universe in heard}
        if any(network.wanted(segment, f"239.255.{each >> 8}.{each & 255}", own) == "not wanted" for each in away):
            return True
    return False


def prunes(network: Network, segment: int) -> bool | None:
    """Does the switch keep light from ports that did not ask? The newest evidence counts; None = not known.

    Light that arrives unasked says nothing on a mirror port, nor where we might be on one.
    """
    multicast = network.queries
    held_back = max(multicast.drops_seen.get(segment, 0), multicast.withheld.get(segment, 0))
    floods = multicast.floods.get(segment, 0) if network.where(segment) in ("ordinary", "wifi") else 0
    return None if not held_back and not floods else held_back >= floods


# ---- what was seen ----


def returned(network: Network, back: Return) -> None:
    """A flow came back: note it, and what a proven drop tells of the switch."""
    streams, multicast = network.streams, network.multicast
    if streams.cast[back.flow] != MULTICAST:
        return
    segment, group = int(streams.segment[back.flow]), address_text(int(streams.dst[back.flow]))
    multicast.returned(Back(segment, group, int(streams.universe[back.flow]), back.before, back.back, back.n))
    if network.why_back(back) is None:
        return
    multicast.drops_seen[segment] = back.back
    multicast.floods.pop(segment, None)
    entry, own = multicast.groups.get((segment, group)), _texts(network.own(segment))
    reports = [each.reported_before(back.before) for mac, each in entry.members.items() if mac in own] if entry else []
    known = [each for each in reports if each is not None]
    if known:
        multicast.ageing[segment] = back.before - max(known)


def noted(network: Network, mark: Mark, time: int) -> list[Act]:
    """What a mark says of this laptop's own joins and leaves, noted. A stranger's file may hold anything here."""
    events, found = mark.facts.get("events") if mark.facts else None, list[Act]()
    for event in events if isinstance(events, list | tuple) else ():
        if not isinstance(event, dict) or event.get("what") not in ("joined", "left") or not isinstance(event.get("group"), str):
            continue
        when = event.get("time")
        if not isinstance(when, int) or abs(when - time) > 10 * NS:
            when = time
        found.append(Act(when, mark.port << 24, event["group"][:15], event["what"] == "joined"))
        network.multicast.act(found[-1])
    return found


def kept_up(network: Network, segment: int, group: str, last: int, silence: int) -> bool:
    """When a group's light stopped (``last``), the switch had to pass it on to this port, and so its sender was silent.

    Where we are not known it is enough that somebody asked. A leave just before may have cut us off (fast leave).
    """
    multicast, own = network.multicast, _texts(network.own(segment))
    entry = multicast.groups.get((segment, group))
    left = [each.left for each in entry.members.values() if each.left is not None] if entry is not None else []
    if any(0 <= last - each <= _LEAVE_ENDS for each in left):
        return False
    if own:
        since, until = multicast.held(segment, group, own)
        return since <= last and last + silence <= until
    lasts = remembered(network, segment)
    return any(last + silence - lasts <= query <= last for query, _ in multicast.queries.get(segment, ()))


def acts(network: Network) -> list[Act]:
    """This laptop's own joins and leaves: as marks tell, and as its own reports on the wire show."""
    found, own = list(network.queries.acts), dict[int, set[str]]()
    for (segment, group), entry in network.multicast.groups.items() if network.located else ():
        if segment not in own:
            own[segment] = _texts(network.own(segment))
        for mac in sorted(own[segment] & entry.members.keys()):
            member = entry.members[mac]
            if member.joined is not None:
                found.append(Act(member.joined, segment, group, True, member.n))
            if member.left is not None:
                found.append(Act(member.left, segment, group, False, member.n))
    return sorted(found, key=lambda each: (each.time, each.segment, each.group, each.joined))


# ---- when does it drop? ----


def goes_dark(network: Network, segment: int, group: str, now: int) -> Dark | None:
    """When the first receivers of a group lose it, if nobody asks meanwhile; None = can't be said, or not to be feared."""
    numbers, multicast = network.numbers, network.queries
    query = multicast.last_query.get(segment)
    if query is not None and now - query[0] < numbers.querier_hint_s * NS:
        return None
    entry = network.multicast.groups.get((segment, group))
    reports = [each.reported for each in entry.listening.values()] if entry else []
    asked = 0 if query is None else query[0]
    begun = max(min(reports, default=0), asked)
    if not begun:
        return None
    answers = int(numbers.response_s * NS) if begun == asked else 0
    last = begun + remembered(network, segment) + answers
    if segment in multicast.ageing:
        first = last - answers
    else:
        first = min(begun + max(int(numbers.ageing_least_s * NS), _survived(network, segment)), last)
    if now > last + int(numbers.response_s * NS):
        return None
    return Dark(min(max(first, now), last), last)


def expected_interval(network: Network, querier: Querier) -> int:
    """ns between a box's questions."""
    return network.queries.expected_interval(querier)


def remembered(network: Network, segment: int) -> int:
    """ns from a report to its end."""
    return network.queries.remembered(segment)


def _survived(network: Network, segment: int) -> int:
    """ns: the longest time between two queries; members were remembered for so long."""
    times = [time for time, _ in network.queries.queries.get(segment, ())]
    return max((b - a for a, b in pairwise(times)), default=0)


def _texts(macs: set[int]) -> set[str]:
    return {mac_text(mac) for mac in macs}
