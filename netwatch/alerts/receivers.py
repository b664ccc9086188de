"""Rules about who asks for light and who leaves it: M4 (deaf receivers), M6 (fast leave)."""

from __future__ import annotations

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.text import address_text, mac_number, mac_text
from netwatch.network.multicast import Back, Group, Member
from netwatch.network.network import Network
from netwatch.network.switching import arrives, groups_of_light

A_SECOND = NS
"""A controller that repeats only once a second (E1.31-2018 6.6.2, keep-alive) sends its last packet so long before."""


def _own(network: Network, segment: int) -> set[str]:
    return {mac_text(mac) for mac in network.own(segment)}


def universe_of(group: str) -> int | None:
    """The universe of a group of light (E1.31-2018 9.3.1)."""
    a, b, high, low = (int(part) for part in group.split("."))
    universe = high << 8 | low
    return universe if (a, b) == (239, 255) and 1 <= universe <= 63_999 else None


def _name(network: Network, segment: int, mac: str) -> str:
    """A box's name, else its address, which people know rather than its MAC."""
    number = mac_number(mac)
    name, held = network.box_name(segment, number), network.claims.addresses().get((segment, number), [])
    return address_text(held[0][1]) if name == mac and len(held) == 1 else name


class DeafReceiver:
    """M4: a box asked for a universe once and does not answer when asked whether it still wants it, though others do."""

    rule = Rule(
        "deaf-receiver",
        until=30 * NS,
        certainty={"mirror": "likely", "ordinary": "hint", "wifi": None, "limited": None},
        numbers=("deaf_queries", "deaf_witnesses", "response_s", "membership_s"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        if not network.queries.queries:
            return looked
        found: dict[tuple[int, str], list[tuple[str, Member, list[tuple[int, int]]]]] = {}
        for (segment, address), group in network.multicast.groups.items():
            mac = _unanswering(group) if universe_of(address) is not None else None
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
        asked = [each for each in network.queries.queries.get(segment, ()) if each[0] > member.reported]
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

    def _finding(
        self,
        network: Network,
        segment: int,
        mac: str,
        groups: list[tuple[str, Member, list[tuple[int, int]]]],
        missed: list[tuple[int, int]],
        now: int,
    ) -> Finding:
        first = min(member.reported for _, member, _ in groups)
        dark = first + int(network.numbers.membership_s * NS)
        return Finding(
            segment,
            f"host:{mac}",
            "now" if now > dark else "soon",
            "likely",
            missed[0][0],
            {
                "who": _name(network, segment, mac),
                "universes": sorted(filter(None, (universe_of(group) for group, _, _ in groups))),
                "questions": len(missed),
                "goes_dark_at": dark,
            },
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
    number = mac_number(mac)
    claims = network.claims.addresses().get((segment, number), [])
    signs = [int(network.claims.last[claim]) for claim, _ in claims]
    signs += [int(network.streams.last[flow]) for flow in network.streams.of_sender(segment, number)]
    return max(signs, default=0) > since


class FastLeave:
    """M6: one box left a group, and the switch cut it off at once for another box behind the same port."""

    rule = Rule(
        "fast-leave",
        certainty={"mirror": None, "ordinary": "likely", "wifi": None, "limited": None},
        explains=("multicast-dropped", "universe-silent"),
        numbers=("fast_leave_s", "querier_gone_s", "response_s", "told_for_s"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked, told_for = Looked(), int(network.numbers.told_for_s * NS)
        found: dict[tuple[int, str], Finding] = {}
        for back in network.queries.backs:
            finding = self._came_back(network, back) if now - back.back < told_for else None
            if finding is not None:
                looked.later(back.back + told_for, now)
                found[back.segment, finding.subject] = finding
        for (segment, address), flows in groups_of_light(network).items() if network.parted else ():
            left = self._newest_leave(network, segment, address)
            universe = None if left is None else universe_of(address)
            if universe is None or left is None:
                continue
            last, silence = max(int(network.streams.last[flow]) for flow in flows), int(network.streams.silence[flows[0]])
            if now <= left + network.numbers.fast_leave_s * NS + silence:
                looked.later(last + silence + 1, now)  # no more light: this is when it is known to be gone
            if not any(arrives(network, flow, now) for flow in flows):
                finding = self._gone(network, segment, address, universe, last)
                if finding is not None:
                    found[segment, finding.subject] = finding
        looked.findings += found.values()
        return looked

    def _newest_leave(self, network: Network, segment: int, address: str) -> int | None:
        """When somebody last left a group that others still listen to."""
        group = network.parted.get((segment, address))
        if group is None or not group.listening:
            return None
        return max((each.left for each in group.members.values() if each.left is not None), default=None)

    def _came_back(self, network: Network, back: Back) -> Finding | None:
        """After the leave it was silent, until a general query made another box ask."""
        group = network.parted.get((back.segment, back.group))
        pair = None if group is None else self._cut(network, back.segment, group, back.before)
        if group is None or pair is None:
            return None
        leaver, other = pair
        queries = [each for each in network.queries.queries.get(back.segment, ()) if back.before < each[0] <= back.back]
        answered = [each for each in other[1].reports if queries and queries[0][0] <= each <= back.back]
        again = [each for each in leaver[1].reports if back.before < each <= back.back]
        if not answered or again:
            return None
        return self._finding(network, back.segment, back.universe, back.before, leaver, other, "likely", (queries[0][1], back.n))

    def _gone(self, network: Network, segment: int, address: str, universe: int, last: int) -> Finding | None:
        """It is silent since the leave; reports of others are heard here only if they sit behind this port."""
        group = network.parted.get((segment, address))
        pair = None if group is None else self._cut(network, segment, group, last)
        return None if pair is None else self._finding(network, segment, universe, last, *pair, "hint", ())

    def _cut(
        self, network: Network, segment: int, group: Group, last: int
    ) -> tuple[tuple[str, Member], tuple[str, Member]] | None:
        """Who left right before the silence, and who still wanted it. Without a querier reports go everywhere: then unknown."""
        within, gone = int(network.numbers.fast_leave_s * NS), int(network.numbers.querier_gone_s * NS)
        for mac, member in group.members.items():
            left = member.left
            if left is None or not left - A_SECOND <= last <= left + within:
                continue
            if group.asked is not None and left <= group.asked[0] <= left + 2 * within:
                continue
            if not any(left - gone < time <= left for time, _ in network.queries.queries.get(segment, ())):
                continue
            for other, wants in group.members.items():
                if other != mac and wants.left is None and wants.reports and wants.reports[0] < left:
                    return (mac, member), (other, wants)
        return None

    def _finding(
        self,
        network: Network,
        segment: int,
        universe: int,
        last: int,
        leaver: tuple[str, Member],
        other: tuple[str, Member],
        certainty: str,
        numbers: tuple[int, ...],
    ) -> Finding:
        ours = leaver[0] in _own(network, segment)
        who = "this laptop" if ours else _name(network, segment, leaver[0])
        return Finding(
            segment,
            f"universe:{universe}",
            # Unproven, the leave may be all there is to it: others may sit elsewhere, and their reports come by flooding.
            "quality" if certainty == "hint" else "now" if ours else "soon",
            certainty,
            last,
            {
                "universes": [universe],
                "who": who,
                "ours": ours,
                "others": [_name(network, segment, other[0])],
                "covers": [] if certainty == "hint" else ["rig", f"universe:{universe}"],
                "back": bool(numbers),
            },
            (leaver[1].n, *numbers),
        )


RECEIVER_RULES = (DeafReceiver(), FastLeave())
