"""The rule about this laptop's own joins and leaves: M7."""

from __future__ import annotations

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.receivers import A_SECOND, universe_of
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.network.multicast import Act
from netwatch.network.network import Network
from netwatch.network.streams import TERMINATED
from netwatch.network.switching import acts, arrives, groups_of_light, sender_outlives


class OwnJoinDarkened:
    """M7: light stopped right after this laptop joined or left, though its sender lives and nobody had asked who listens."""

    rule = Rule(
        "own-join-darkened",
        until=30 * NS,
        certainty={"mirror": None, "ordinary": "certain", "wifi": "hint", "limited": "likely"},
        explains=("multicast-dropped", "source-lost", "universe-silent"),
        numbers=("own_join_s", "membership_s", "told_for_s"),
        worse_with="universes",
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        recent = [
            act for act in acts(network) if now - act.time < network.numbers.told_for_s * NS and not self._asked(network, act)
        ]
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
        return any(since < time <= until for times in network.queries.queries.values() for time, _ in times)

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
        for back in network.queries.backs:
            act = next((each for each in recent if each.joined and each.time <= back.before <= each.time + within), None)
            if act is not None and any(
                not each.joined
                and each.group == act.group
                and each.segment == act.segment
                and each.time <= back.back <= each.time + within
                for each in recent
            ):
                out.append((back.segment, back.universe, back.before, act))
        return out

    def _finding(self, network: Network, segment: int, found: list[tuple[int, int, Act]], *, certain: bool) -> Finding:
        universes, act = (
            sorted({universe for universe, _, _ in found}),
            min((each for _, _, each in found), key=lambda each: each.time),
        )
        groups = sorted({each.group for _, _, each in found})
        streams = network.streams
        sources = sorted(
            {
                f"source:{network.source_id(flow)}"
                for (where, _), flows in groups_of_light(network).items()
                for flow in flows
                if where == segment and int(streams.universe[flow]) in universes
            }
        )
        numbers = {each.n for _, _, each in found if each.n is not None}
        return Finding(
            segment,
            "rig",
            "now",
            "certain" if certain else "likely",
            min(last for _, last, _ in found),
            {
                "universes": universes,
                "joined": act.joined,
                "asked": sorted(filter(None, map(universe_of, groups))),
                "groups": groups,
                "healed": certain,
                "covers": ["rig", *(f"universe:{each}" for each in universes), *sources],
            },
            tuple(sorted(numbers)[:8]),
        )


def _left(recent: list[Act], segment: int, address: str, last: int) -> bool:
    """Did this laptop itself leave the group just then?"""
    return any(
        not each.joined and each.segment == segment and each.group == address and each.time - A_SECOND <= last for each in recent
    )


OWN_RULES = (OwnJoinDarkened(),)
