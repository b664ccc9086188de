"""Rules about who keeps multicast alive: M1 (nobody asks), M2 (the one who asked is gone), M3 (two ask)."""

from __future__ import annotations

import ipaddress
from itertools import combinations

from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.text import mac_number
from netwatch.network.multicast import Querier
from netwatch.network.network import Network
from netwatch.network.switching import (
    Dark,
    expected_interval,
    goes_dark,
    groups_of_light,
    held_back,
    prunes,
    remembered,
    universes_of,
)

_NOBODY = ("", "0.0.0.0")
"""Source of a query that a snooping switch sends by itself (RFC 4541 2.1.1)."""


def _first_dark(network: Network, segment: int, now: int) -> Dark | None:
    """The clock of the group of light that goes dark first."""
    clocks = [goes_dark(network, segment, group, now) for where, group in groups_of_light(network) if where == segment]
    return min((each for each in clocks if each is not None), key=lambda each: (each.at, each.by), default=None)


def _dark_facts(dark: Dark | None) -> dict[str, int | None]:
    return {"goes_dark_at": None if dark is None else dark.at, "goes_dark_by": None if dark is None else dark.by}


class NoQuerier:
    """M1: nobody asks who listens. A note, until this switch has been seen to hold light back: then it will do so again."""

    rule = Rule(
        "no-querier",
        # What a switch asks by itself may be missing from the copy that a mirror port gets (measured).
        certainty={"mirror": "hint", "ordinary": "certain", "wifi": "hint", "limited": None},
        numbers=("querier_hint_s", "querier_gone_s", "ageing_least_s", "membership_s", "response_s"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        for segment in sorted({segment for segment, _ in groups_of_light(network)}):
            query = network.queries.last_query.get(segment)
            since = max(query[0] if query else self._begun(network, segment), network.hole_end)
            looked.later(since + network.numbers.querier_hint_s * NS, now)
            looked.later(since + network.numbers.querier_gone_s * NS, now)
            if now - since >= network.numbers.querier_hint_s * NS:
                looked.findings.append(self._finding(network, segment, since, now))
        return looked

    def _begun(self, network: Network, segment: int) -> int:
        flows = [flow for (where, _), flows in groups_of_light(network).items() if where == segment for flow in flows]
        return int(network.streams.first[flows].min())

    def _finding(self, network: Network, segment: int, since: int, now: int) -> Finding:
        pruning = prunes(network, segment)
        gone = now - since >= network.numbers.querier_gone_s * NS
        lost = held_back(network, segment, now, since) if gone and pruning is not False else []
        dropped = network.queries.drops_seen.get(segment, 0) > since
        severity = "soon" if gone and (pruning or lost) else "note"
        query = network.queries.last_query.get(segment)
        return Finding(
            segment,
            "rig",
            severity,
            "certain" if gone and dropped else "likely" if gone else "hint",
            since,
            {
                "seconds": (now - since) / NS,
                "prunes": pruning,
                "universes": universes_of(network, segment),
                "dropped": lost,
                **_dark_facts(None if pruning is False else _first_dark(network, segment, now)),
            },
            (query[1],) if query else (),
        )


class QuerierLost:
    """M2: the box that asked who listens has stopped; or another one has taken over."""

    rule = Rule(
        "querier-lost",
        certainty={"mirror": "likely", "ordinary": "likely", "wifi": "hint", "limited": None},
        explains=("multicast-dropped", "no-querier", "universe-silent"),
        numbers=(
            "query_interval_s",
            "query_late",
            "query_missing",
            "ageing_least_s",
            "membership_s",
            "response_s",
            "query_slack_s",
            "told_for_s",
        ),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked, told_for = Looked(), int(network.numbers.told_for_s * NS)
        light = {segment for segment, _ in groups_of_light(network)}
        for (segment, _), querier in network.queries.queriers.items():
            if segment not in light or querier.address in _NOBODY or len(querier.times) < 2:
                continue
            expected = expected_interval(network, querier)
            after = [(time, n) for time, n in network.queries.queries[segment] if time > querier.last]
            since, slack = max(querier.last, network.hole_end), int(network.numbers.query_slack_s * NS)
            late = since + max(int(expected * network.numbers.query_late), expected + slack)
            missing = since + max(int(expected * network.numbers.query_missing), expected + 2 * slack)
            looked.later(late, now)
            looked.later(missing, now)
            if not after and now >= late:
                looked.findings.append(self._lost(network, segment, querier, expected, now, gone=now >= missing))
            elif after and now >= missing and now - after[0][0] < told_for:
                looked.later(after[0][0] + told_for, now)
                looked.findings.append(self._replaced(network, segment, querier, after[-1][1]))
        return looked

    def _lost(self, network: Network, segment: int, querier: Querier, expected: int, now: int, *, gone: bool) -> Finding:
        pruning = prunes(network, segment)
        lost = held_back(network, segment, now, querier.last) if pruning is not False else []
        severity = "quality" if pruning is False else "now" if lost or (gone and pruning) else "soon"
        dark = None if pruning is False else _dark_after(network, segment, querier.last, now)
        return Finding(
            segment,
            f"server:{querier.address}",
            severity,
            "likely" if gone else "hint",
            querier.last,
            {
                "address": querier.address,
                "who": _who(network, segment, querier),
                "interval": expected / NS,
                "seconds": (now - querier.last) / NS,
                "last": querier.last,
                "prunes": pruning,
                "dropped": lost,
                "taken_over_by": None,
                "universes": universes_of(network, segment),
                "covers": ["rig", *(f"universe:{each}" for each in lost)],
                **_dark_facts(dark),
            },
            tuple(querier.numbers),
        )

    def _replaced(self, network: Network, segment: int, querier: Querier, n: int) -> Finding:
        new = max(
            (each for (where, _), each in network.queries.queriers.items() if where == segment), key=lambda each: each.last
        )
        return Finding(
            segment,
            f"server:{querier.address}",
            "note",
            "likely",
            querier.last,
            {
                "address": querier.address,
                "who": _who(network, segment, querier),
                "last": querier.last,
                "covers": [],
                "taken_over_by": "a switch" if new.address in _NOBODY else new.address,
            },
            (*querier.numbers[-2:], n),
        )


def _who(network: Network, segment: int, querier: Querier) -> str:
    name = network.box_name(segment, mac_number(querier.mac)) if querier.mac else ""
    return querier.address if not name or ":" in name else name


def _dark_after(network: Network, segment: int, last: int, now: int) -> Dark | None:
    """When the light goes dark if the box that asked last is not replaced: members answered within the answer time."""
    dark = _first_dark(network, segment, now)
    if dark is not None:
        return dark
    ageing = remembered(network, segment)
    by = last + ageing + int(network.numbers.response_s * NS)
    return None if by < now else Dark(max(now, last + ageing), by)


class TwoQueriers:
    """M3: two boxes ask who listens, or they ask in different versions. The election should silence one (RFC 9776 6.6.2)."""

    rule = Rule(
        "two-queriers",
        until=30 * NS,
        certainty={"mirror": "certain", "ordinary": "certain", "wifi": "likely", "limited": None},
        numbers=("queriers_within_s", "queriers_overlap_s", "query_versions_s"),
        signs="quiet_queries_s",
        worse_with="queriers",
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        within = int(network.numbers.queriers_within_s * NS)
        by_segment: dict[int, list[Querier]] = {}
        for (segment, _), querier in network.queries.queriers.items():
            for time in querier.times:
                looked.later(time + within, now)
            if now - querier.last < within:
                by_segment.setdefault(segment, []).append(querier)
        for segment, queriers in by_segment.items():
            finding = self._two(network, segment, queriers, now - within) or self._versions(
                network, segment, queriers, now, looked
            )
            finding = finding or self._only_a_switch(segment, queriers, now - within)
            if finding is not None:
                looked.findings.append(finding)
        return looked

    def _two(self, network: Network, segment: int, queriers: list[Querier], since: int) -> Finding | None:
        spans = {each.address: [time for time in each.times if time > since] for each in queriers if each.address not in _NOBODY}
        overlap = int(network.numbers.queriers_overlap_s * NS)
        rivals: set[str] = set()
        for a, b in combinations([address for address, times in spans.items() if len(times) > 1], 2):
            if min(spans[a][-1], spans[b][-1]) - max(spans[a][0], spans[b][0]) > overlap:
                rivals |= {a, b}
        mine = [each for each in queriers if each.address in rivals]
        if not mine:
            return None
        numbers = sorted({n for each in mine for n in each.numbers})
        return Finding(
            segment,
            "rig",
            "soon",
            "certain",
            max(spans[each.address][0] for each in mine),
            {
                "kind": "two",
                "queriers": [each.address for each in mine],
                "versions": sorted({each.version for each in mine}),
                "intervals": [each.interval for each in mine],
                "same_subnet": _alike(mine),
            },
            tuple(numbers[:2] + numbers[2:][-6:]),
            sorted(each.last for each in mine)[-2],
        )

    def _versions(self, network: Network, segment: int, queriers: list[Querier], now: int, looked: Looked) -> Finding | None:
        window = int(network.numbers.query_versions_s * NS)
        recent = {
            version: seen for version, seen in network.queries.versions.get(segment, {}).items() if now - seen[0] < window
        }
        for time, _ in recent.values():
            looked.later(time + window, now)
        old = 1 in recent
        if not old and len(recent) < 2:
            return None
        return Finding(
            segment,
            "rig",
            "soon" if old else "quality",
            "certain" if old else "likely",
            max(time for time, _ in recent.values()),
            {
                "kind": "version 1" if old else "versions",
                "queriers": [each.address for each in queriers],
                "versions": sorted(recent),
            },
            tuple(sorted(n for _, n in recent.values())),
        )

    def _only_a_switch(self, segment: int, queriers: list[Querier], since: int) -> Finding | None:
        if any(each.address not in _NOBODY for each in queriers):
            return None
        proxy = queriers[0]
        if len([time for time in proxy.times if time > since]) < 2:
            return None
        return Finding(
            segment,
            "rig",
            "note",
            "certain",
            proxy.first,
            {"kind": "switch", "queriers": [], "versions": [proxy.version]},
            tuple(proxy.numbers),
        )


def _alike(queriers: list[Querier]) -> bool:
    """Do the addresses begin alike (first half)? Queries carry no mask."""
    networks = {ipaddress.IPv4Network(f"{each.address}/16", strict=False) for each in queriers}
    return len(networks) == 1


QUERIER_RULES = (NoQuerier(), QuerierLost(), TwoQueriers())
