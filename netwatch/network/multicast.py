"""Groups of light, who asked for them, and who asks after them (IGMP: RFC 2236, RFC 9776; snooping: RFC 4541)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Protocol

from netwatch.decode.tables import Igmp
from netwatch.network.capped import SETTLED_SECONDS, Capped
from netwatch.numbers import Numbers

_FEW, _NEWEST, _REPORTS = 64, 16, 8
OF_LIGHT = "239.255."
"""Begins the groups of light (E1.31-2018 9.3.1)."""
_REPEATED = 12_000_000_000
"""A request is repeated within 10 s (RFC 2236 8.10); the first one counts."""
NS = 1_000_000_000


@dataclass(slots=True)
class Member:
    """One box's word on one group."""

    joins: list[int] = field(default_factory=list)
    """When it asked anew, the newest 8."""
    reported: int = 0
    """Its newest report or join."""
    left: int | None = None
    since: int | None = None
    """Its first report since it last left."""
    n: int = 0
    reports: list[int] = field(default_factory=list)
    """Its newest reports, at most 8."""
    held: tuple[int, int] | None = None
    """(since, until) ns: it answered queries, so for that time a switch must pass the group on to it (RFC 4541 2.1)."""

    @property
    def joined(self) -> int | None:
        """When it newest asked anew."""
        return self.joins[-1] if self.joins else None

    def joined_before(self, time: int) -> int | None:
        """When it newest asked anew up to a moment, as far as that is kept."""
        return max((each for each in self.joins if each <= time), default=None)

    def reported_before(self, time: int) -> int | None:
        """Its newest report up to a moment, as far as they are kept."""
        return max((each for each in self.reports if each <= time), default=None)


@dataclass(slots=True)
class Group:
    """One multicast group."""

    address: str
    members: dict[str, Member] = field(default_factory=dict)
    """By MAC, the newest 64."""
    asked: tuple[int, int] | None = None
    """(ns, n) of the newest query for this group alone."""

    @property
    def listening(self) -> dict[str, Member]:
        """The members that did not leave."""
        return {mac: each for mac, each in self.members.items() if each.left is None}


@dataclass(slots=True)
class Querier:
    """One box that sends general queries."""

    address: str
    version: int
    mac: str
    first: int
    last: int
    queries: int = 0
    interval: float | None = None
    """Seconds: what it says (version 3), else the newest gap heard."""
    response: float = 10.0
    numbers: list[int] = field(default_factory=list)
    times: list[int] = field(default_factory=list)
    """ns of its newest general queries, at most 16."""


@dataclass(frozen=True, slots=True)
class Act:
    """This laptop asked for a group or left it, on request."""

    time: int
    segment: int
    group: str
    joined: bool
    n: int | None = None


@dataclass(frozen=True, slots=True)
class Back:
    """A group that came back here after a silence from ``before`` to ``back``."""

    segment: int
    group: str
    universe: int
    before: int
    back: int
    n: int


class Queries(Protocol):
    """What is known of multicast, but for what reports change."""

    queriers: Capped[tuple[int, str], Querier]
    last_query: dict[int, tuple[int, int]]
    queries: dict[int, list[tuple[int, int]]]
    versions: dict[int, dict[int, tuple[int, int]]]
    floods: dict[int, int]
    drops_seen: dict[int, int]
    withheld: dict[int, int]
    ageing: dict[int, int]
    acts: list[Act]
    backs: list[Back]
    v2_reporters: dict[int, set[str]]
    """The few whose reports tell who we are; they are news to all."""

    def expected_interval(self, querier: Querier) -> int: ...
    def remembered(self, segment: int) -> int: ...


class Multicast:
    """Per segment: groups and queriers."""

    def __init__(self, numbers: Numbers) -> None:
        self.numbers = numbers
        self.groups: Capped[tuple[int, str], Group] = Capped("groups", int(numbers.cap_groups))
        self.queriers: Capped[tuple[int, str], Querier] = Capped("queriers", int(numbers.cap_servers))
        self.parted: dict[tuple[int, str], Group] = {}
        """Those that anybody ever left."""
        self.listeners: Counter[tuple[int, str]] = Counter()
        """By (segment, MAC): groups of light that it ever asked for, as far as they are held."""
        self.last_query: dict[int, tuple[int, int]] = {}
        """Segment to (ns, n) of the newest general query."""
        self.first_report: dict[int, int] = {}
        self.v2_reporters: dict[int, set[str]] = {}
        """Segment to MACs whose version 1 or 2 reports were heard, at most 3: on a snooping switch only our own are."""
        self.reporters = 0
        """All of them."""
        self.floods: dict[int, int] = {}
        """Segment to since when light that nobody here asked for is known to arrive; a query may end that."""
        self.look_at: int | None = None
        """When light that arrives unasked will have done so for long enough to count."""
        self.drops_seen: dict[int, int] = {}
        """Segment to when a drop was proven: this switch prunes."""
        self.withheld: dict[int, int] = {}
        """Segment to when light that nobody here asked for was seen to stay away: this switch prunes."""
        self.ageing: dict[int, int] = {}
        """Segment to ns from the last report to a proven drop: so long this switch remembers a member."""
        self.queries: dict[int, list[tuple[int, int]]] = {}
        """Segment to (ns, n) of the newest general queries of all boxes, at most 16."""
        self.versions: dict[int, dict[int, tuple[int, int]]] = {}
        """Segment to (ns, n) of the newest general query of each version."""
        self.acts: list[Act] = []
        """What this laptop did on request, as marks tell; the newest 64."""
        self.backs: list[Back] = []
        """The newest 64."""

    def fold(self, record: Igmp, time: int) -> None:
        """One message, in order of n, with a good checksum: a switch ignores others."""
        if record.what == "query":
            if not record.group:
                self._query(record, time)
            elif (group := self.groups.get((record.segment, record.group))) is not None:
                group.asked = time, record.n
            return
        self.first_report.setdefault(record.segment, time)
        if record.version < 3:
            reporters = self.v2_reporters.get(record.segment)
            if reporters is None:
                reporters = self.v2_reporters[record.segment] = set()
            if len(reporters) < 3 and record.mac not in reporters:
                reporters.add(record.mac)
                self.reporters += 1
        for entry in record.records:
            if not entry.group.startswith("224.0.0."):
                self._report(record, entry.group, entry.what, time)

    def _query(self, record: Igmp, time: int) -> None:
        self.last_query[record.segment] = (time, record.n)
        newest = self.queries.setdefault(record.segment, [])
        newest.append((time, record.n))
        del newest[:-_NEWEST]
        self.versions.setdefault(record.segment, {})[record.version] = time, record.n
        self.floods.pop(record.segment, None)
        key = record.segment, record.src
        querier = self.queriers.touch(key, time, Querier, record.src, record.version, record.mac, time, time)
        if querier is None:
            return
        gap = (time - querier.last) / 1e9
        querier.interval = record.interval or (gap if querier.queries and gap > 0 else querier.interval)
        querier.version, querier.last, querier.response = record.version, time, record.max_response or 10.0
        querier.queries += 1
        querier.numbers.append(record.n)
        del querier.numbers[2:-3]
        querier.times.append(time)
        del querier.times[:-_NEWEST]

    def _report(self, record: Igmp, address: str, what: str, time: int) -> None:
        group = self.groups.touch((record.segment, address), time, Group, address)
        if group is None:
            return
        member = group.members.get(record.mac)
        if member is None:
            member = group.members[record.mac] = Member()
            self._listens(record.segment, address, record.mac, 1)
        member.n = record.n
        if what == "leave":
            self.parted[record.segment, address] = group
            member.left, member.since = time, None
            # A switch may cut off all boxes behind the leaver's port; until they ask again, nothing says that it goes on.
            for each in group.members.values():
                each.held = None
        else:
            if what == "join" and (not member.joins or member.left is not None or time - member.joins[-1] > _REPEATED):
                member.joins = [*member.joins[1 - _REPORTS :], time]
            member.since = time if member.since is None else member.since
            member.reported, member.left = time, None
            member.reports.append(time)
            if len(member.reports) > _REPORTS:
                del member.reports[:-_REPORTS]
            self._hold(member, record.segment, time)
        if len(group.members) > _FEW:
            # Who reported often is no passing one: a flood churns newcomers.
            newest = min(group.members, key=lambda mac: self._standing(group.members[mac]))
            del group.members[newest]
            self._listens(record.segment, address, newest, -1)

    def _listens(self, segment: int, address: str, mac: str, groups: int) -> None:
        """A box is in so many groups more."""
        if address.startswith(OF_LIGHT):
            self.listeners[segment, mac] += groups
            if not self.listeners[segment, mac]:
                del self.listeners[segment, mac]

    @staticmethod
    def _standing(member: Member) -> tuple[bool, int]:
        return len(member.reports) >= SETTLED_SECONDS, member.reported

    def _hold(self, member: Member, segment: int, time: int) -> None:
        """A report after a query renews the membership; without a lapse it has been held all along."""
        query = self.last_query.get(segment)
        if query is not None and time - query[0] <= (lasts := self.remembered(segment)):
            since = member.held[0] if member.held is not None and time <= member.held[1] else time
            member.held = since, query[0] + lasts

    def held(self, segment: int, address: str, macs: set[str]) -> tuple[int, int]:
        """(since, until) ns for which a group must be passed on to one of these boxes; (0, 0) = that can't be said."""
        group = self.groups.get((segment, address))
        spans = [group.members[mac].held for mac in macs & group.members.keys()] if group is not None else []
        return max((span for span in spans if span is not None), key=lambda span: span[1], default=(0, 0))

    def asked(self, segment: int, address: str, macs: set[str]) -> int:
        """ns since when one of these boxes asks for a group, anybody where no box is named; 0 = none does."""
        group = self.groups.get((segment, address))
        members = {} if group is None else group.listening
        mine = [each.since for mac, each in members.items() if not macs or mac in macs]
        return min((each for each in mine if each is not None), default=0)

    def expected_interval(self, querier: Querier) -> int:
        """ns between a box's questions: as it says (version 3), else the longest gap heard; at start they come faster."""
        if querier.version == 3 and querier.interval:
            return int(querier.interval * NS)
        gaps = [b - a for a, b in pairwise(querier.times)]
        return max(gaps) if len(gaps) >= 3 else max(*gaps, int(self.numbers.query_interval_s * NS), 0)

    def remembered(self, segment: int) -> int:
        """ns from a report to its end: as measured, else by the newest querier's interval (RFC 3376 8.4), at most the usual."""
        if segment in self.ageing:
            return self.ageing[segment]
        here = [each for (where, _), each in self.queriers.items() if where == segment]
        usual = int(self.numbers.membership_s * NS)
        if not here:
            return usual
        longest = 2 * self.expected_interval(max(here, key=lambda each: each.last)) + int(self.numbers.response_s * NS)
        return min(usual, longest)

    def act(self, act: Act) -> None:
        """Note what this laptop did."""
        self.acts.append(act)
        del self.acts[:-_FEW]

    def returned(self, back: Back) -> None:
        """Note that a group came back."""
        self.backs.append(back)
        del self.backs[:-_FEW]

    def revived(self, segment: int, address: str, before: int, back: int, own: Collection[str]) -> int | None:
        """Packet number of the general query or request for the group that ended a silence from ``before`` to ``back``.

        A query counts within one response time (RFC 9776 8.3), a request within 2 s (measured on a software switch); neither
        does where nobody had asked before the silence: nobody of ``own``, or nobody at all where our MACs are not known.
        """
        group = self.groups.get((segment, address))
        members = {} if group is None else group.members
        mine = [each for mac, each in members.items() if not own or mac in own]
        if (own or members) and not any(each.since is not None and each.since <= before for each in mine):
            return None
        query = self.last_query.get(segment)
        if query is not None and before < query[0] <= back <= query[0] + int((self.numbers.response_s + 1) * NS):
            return query[1]
        for member in members.values():
            if member.joined is not None and before < member.joined <= back <= member.joined + 2 * NS:
                return member.n
        return None

    def evict(self, time: int) -> None:
        """At tick end."""
        before = self.groups.evicted
        self.groups.evict(time)
        if self.groups.evicted > before:
            for place in [place for place in self.parted if self.groups.get(place) is None]:
                del self.parted[place]
            self.listeners.clear()
            for (segment, address), group in self.groups.items():
                for mac in group.members:
                    self._listens(segment, address, mac, 1)
        self.queriers.evict(time)
