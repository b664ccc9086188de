"""Rules about who asks for light and who leaves it: M4 (deaf receivers), M6 (fast leave), M7 (our own joins)."""

from __future__ import annotations

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.text import mac_text
from netwatch.network.multicast import Act, Back, Group, Member
from netwatch.network.network import Network
from netwatch.network.streams import TERMINATED
from netwatch.network.switching import acts, arrives, groups_of_light, sender_outlives

_A_SECOND = NS
"""A controller that repeats only once a second (E1.31-2018 6.6.2, keep-alive) sends its last packet so long before."""


def _own(network: Network, segment: int) -> set[str]:
    return {mac_text(mac) for mac in network.own(segment)}


def _universe(group: str) -> int | None:
    """The universe of a group of light (E1.31-2018 9.3.1)."""
    a, b, high, low = (int(part) for part in group.split("."))
    universe = high << 8 | low
    return universe if (a, b) == (239, 255) and 1 <= universe <= 63_999 else None


def _name(network: Network, segment: int, mac: str) -> str:
    return network.box_name(segment, int(mac.replace(":", ""), 16))


class DeafReceiver:
    """M4: a box asked for a universe once and does not answer when asked whether it still wants it, though others do."""

    rule = Rule(
        "deaf-receiver", until=30 * NS, certainty={"mirror": "likely", "ordinary": "hint", "wifi": None, "limited": None},
        numbers=("deaf_queries", "deaf_witnesses", "response_s", "membership_s"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        if not network.multicast.queries:
            return looked
        found: dict[tuple[int, str], list[tuple[str, Member, list[tuple[int, int]]]]] = {}
        for (segment, address), group in network.multicast.groups.items():
            mac = _unanswering(group) if _universe(address) is not None else None
            missed = [] if mac is None else self._missed(network, segment, group.members[mac], now, looked)
            if mac is not None and len(missed) >= network.numbers.deaf_queries and mac not in _own(network, segment):
                found.setdefault((segment, mac), []).append((address, group.members[mac], missed))
        for (segment, mac), groups in found.items():
            missed = max((each for _, _, each in groups), key=len)
            looked.later(next_grid(now), now)
            if self._others_answer(network, segment, mac, missed[0][0]) and _alive(network, segment, mac, missed[0][0]):
                looked.findings.append(self._finding(network, segment, mac, groups, missed, now))
        return looked

    def _missed(self, network: Network, segment: int, member: Member, now: int, looked: Looked) -> list[tuple[int, int]]:
        """General queries since its last report whose answer time is over."""
        patience = int((network.numbers.response_s + 1) * NS)
        asked = [each for each in network.multicast.queries.get(segment, ()) if each[0] > member.reported]
        for time, _ in asked:
            looked.later(time + patience, now)
        return [each for each in asked if each[0] + patience <= now]

    def _others_answer(self, network: Network, segment: int, mac: str, since: int) -> bool:
        """Are answers of several other boxes heard here? Else a missing one means nothing."""
        heard: set[str] = set()
        for (where, _), group in network.multicast.groups.items():
            if where == segment:
                heard |= {other for other, each in group.members.items() if each.reported > since and other != mac}
        return len(heard - _own(network, segment)) >= network.numbers.deaf_witnesses

    def _finding(self, network: Network, segment: int, mac: str, groups: list[tuple[str, Member, list[tuple[int, int]]]],
                 missed: list[tuple[int, int]], now: int) -> Finding:
        first = min(member.reported for _, member, _ in groups)
        dark = first + int(network.numbers.membership_s * NS)
        return Finding(
            segment, f"host:{mac}", "now" if now > dark else "soon", "likely", missed[0][0],
            {"who": _name(network, segment, mac), "universes": sorted(filter(None, (_universe(group) for group, _, _ in groups))),
             "questions": len(missed), "goes_dark_at": dark},
            (*(member.n for _, member, _ in groups[:2]), *(n for _, n in missed[-3:])),
        )


def _unanswering(group: Group) -> str | None:
    """The box whose report on a group is the newest, if it has not left: nobody spoke for it since (RFC 2236 3)."""
    if not group.members:
        return None
    mac, member = max(group.members.items(), key=lambda each: each[1].reported)
    return mac if member.left is None else None


def _alive(network: Network, segment: int, mac: str, since: int) -> bool:
    """Was a box heard in any way after a moment?"""
    number = int(mac.replace(":", ""), 16)
    claims = network.claims.addresses().get((segment, number), [])
    signs = [int(network.claims.last[claim]) for claim, _ in claims]
    signs += [int(network.streams.last[flow]) for flow in network.streams.of_sender(segment, number)]
    return max(signs, default=0) > since


class FastLeave:
    """M6: one box left a group, and the switch cut it off at once for another box behind the same port."""

    rule = Rule(
        "fast-leave", certainty={"mirror": None, "ordinary": "likely", "wifi": None, "limited": None},
        explains=("multicast-dropped", "universe-silent"), numbers=("fast_leave_s", "querier_gone_s", "response_s", "told_for_s"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked, told_for = Looked(), int(network.numbers.told_for_s * NS)
        found: dict[tuple[int, str], Finding] = {}
        for back in network.multicast.backs:
            finding = self._came_back(network, back) if now - back.back < told_for else None
            if finding is not None:
                looked.later(back.back + told_for, now)
                found[back.segment, finding.subject] = finding
        for (segment, address), flows in groups_of_light(network).items():
            universe, left = _universe(address), self._newest_leave(network, segment, address)
            if universe is None or left is None:
                continue
            looked.later(left + network.numbers.fast_leave_s * NS + int(network.streams.silence[flows[0]]), now)
            if not any(arrives(network, flow, now) for flow in flows):
                last = max(int(network.streams.last[flow]) for flow in flows)
                finding = self._gone(network, segment, address, universe, last)
                if finding is not None:
                    found[segment, finding.subject] = finding
        looked.findings += found.values()
        return looked

    def _newest_leave(self, network: Network, segment: int, address: str) -> int | None:
        """When somebody last left a group that others still listen to."""
        group = network.multicast.groups.get((segment, address))
        if group is None or not group.listening:
            return None
        return max((each.left for each in group.members.values() if each.left is not None), default=None)

    def _came_back(self, network: Network, back: Back) -> Finding | None:
        """After the leave it was silent, until a general query made another box ask."""
        group = network.multicast.groups.get((back.segment, back.group))
        pair = None if group is None else self._cut(network, back.segment, group, back.before)
        if group is None or pair is None:
            return None
        leaver, other = pair
        queries = [each for each in network.multicast.queries.get(back.segment, ()) if back.before < each[0] <= back.back]
        answered = [each for each in other[1].reports if queries and queries[0][0] <= each <= back.back]
        again = [each for each in leaver[1].reports if back.before < each <= back.back]
        if not answered or again:
            return None
        return self._finding(network, back.segment, back.universe, back.before, leaver, other, "likely", (queries[0][1], back.n))

    def _gone(self, network: Network, segment: int, address: str, universe: int, last: int) -> Finding | None:
        """It is silent since the leave; reports of others are heard here only if they sit behind this port."""
        group = network.multicast.groups.get((segment, address))
        pair = None if group is None else self._cut(network, segment, group, last)
        return None if pair is None else self._finding(network, segment, universe, last, *pair, "hint", ())

    def _cut(self, network: Network, segment: int, group: Group, last: int) -> tuple[tuple[str, Member], tuple[str, Member]] | None:
        """Who left right before the silence, and who still wanted it. Without a querier reports go everywhere: then unknown."""
        within, gone = int(network.numbers.fast_leave_s * NS), int(network.numbers.querier_gone_s * NS)
        for mac, member in group.members.items():
            left = member.left
            if left is None or not left - _A_SECOND <= last <= left + within:
                continue
            if group.asked is not None and left <= group.asked[0] <= left + 2 * within:
                continue
            if not any(left - gone < time <= left for time, _ in network.multicast.queries.get(segment, ())):
                continue
            for other, wants in group.members.items():
                if other != mac and wants.left is None and wants.reports and wants.reports[0] < left:
                    return (mac, member), (other, wants)
        return None

    def _finding(self, network: Network, segment: int, universe: int, last: int, leaver: tuple[str, Member],
                 other: tuple[str, Member], certainty: str, numbers: tuple[int, ...]) -> Finding:
        ours = leaver[0] in _own(network, segment)
        who = "this laptop" if ours else _name(network, segment, leaver[0])
        return Finding(
            segment, f"universe:{universe}", "now" if ours else "soon", certainty, last,
            {"universes": [universe], "who": who, "ours": ours, "others": [_name(network, segment, other[0])],
             "covers": ["rig", f"universe:{universe}"], "back": bool(numbers)},
            (leaver[1].n, *numbers),
        )


class OwnJoinDarkened:
    """M7: light stopped right after this laptop joined or left, though its sender lives and nobody had asked who listens."""

    rule = Rule(
        "own-join-darkened", until=30 * NS, certainty={"mirror": None, "ordinary": "certain", "wifi": "hint", "limited": "likely"},
        explains=("multicast-dropped", "source-lost", "universe-silent"), numbers=("own_join_s", "membership_s", "told_for_s"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        recent = [act for act in acts(network) if now - act.time < network.numbers.told_for_s * NS and not self._asked(network, act)]
        if not recent:
            return looked
        looked.later(next_grid(now), now)
        dark = self._dark(network, recent, now)
        healed = self._healed(network, recent)
        by_segment: dict[int, list[tuple[int, int, Act]]] = {}
        for segment, universe, last, act in [*dark, *healed]:
            by_segment.setdefault(segment, []).append((universe, last, act))
        for segment, found in by_segment.items():
            certain = any(where == segment for where, _, _, _ in healed)
            looked.findings.append(self._finding(network, segment, found, certain=certain))
        return looked

    def _asked(self, network: Network, act: Act) -> bool:
        """A switch with a querier prunes rightly; then our join is no reason."""
        since = act.time - int(network.numbers.membership_s * NS)
        until = act.time + int(network.numbers.own_join_s * NS)
        return any(since < time <= until for times in network.multicast.queries.values() for time, _ in times)

    def _dark(self, network: Network, recent: list[Act], now: int) -> list[tuple[int, int, int, Act]]:
        """(segment, universe, last, act) of light that stopped right after an act and is still away."""
        streams, within, out = network.streams, int(network.numbers.own_join_s * NS), []
        for (segment, address), flows in groups_of_light(network).items():
            if any(arrives(network, flow, now) for flow in flows):
                continue
            flow = max(flows, key=lambda each: int(streams.last[each]))
            last = int(streams.last[flow])
            act = next((each for each in recent if each.time <= last <= each.time + within), None)
            ended = bool(streams.options[flow] & TERMINATED)
            if act is not None and not ended and sender_outlives(network, flow) and not _left(recent, segment, address, last):
                out.append((segment, int(streams.universe[flow]), last, act))
        return out

    def _healed(self, network: Network, recent: list[Act]) -> list[tuple[int, int, int, Act]]:
        """Light that stopped right after a join and was back right after the leave."""
        within, out = int(network.numbers.own_join_s * NS), []
        for back in network.multicast.backs:
            act = next((each for each in recent if each.joined and each.time <= back.before <= each.time + within), None)
            if act is not None and any(
                not each.joined and each.group == act.group and each.segment == act.segment
                and each.time <= back.back <= each.time + within for each in recent
            ):
                out.append((back.segment, back.universe, back.before, act))
        return out

    def _finding(self, network: Network, segment: int, found: list[tuple[int, int, Act]], *, certain: bool) -> Finding:
        universes, act = sorted({universe for universe, _, _ in found}), min((each for _, _, each in found), key=lambda each: each.time)
        groups = sorted({each.group for _, _, each in found})
        streams = network.streams
        sources = sorted({
            f"source:{network.source_id(flow)}" for (where, _), flows in groups_of_light(network).items() for flow in flows
            if where == segment and int(streams.universe[flow]) in universes
        })
        numbers = {each.n for _, _, each in found if each.n is not None}
        return Finding(
            segment, "rig", "now", "certain" if certain else "likely", min(last for _, last, _ in found),
            {"universes": universes, "joined": act.joined, "asked": sorted(filter(None, map(_universe, groups))), "groups": groups,
             "healed": certain, "covers": ["rig", *(f"universe:{each}" for each in universes), *sources]},
            tuple(sorted(numbers)[:8]),
        )


def _left(recent: list[Act], segment: int, address: str, last: int) -> bool:
    """Did this laptop itself leave the group just then?"""
    return any(
        not each.joined and each.segment == segment and each.group == address and each.time - _A_SECOND <= last for each in recent
    )


RECEIVER_RULES = (DeafReceiver(), FastLeave(), OwnJoinDarkened())
