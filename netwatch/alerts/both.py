"""Rules over both protocols at once: X1 one universe by both, X2 whose numbers differ; proven by the levels themselves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.artnet import host, named
from netwatch.alerts.likeness import alike
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import who
from netwatch.decode.tables import ARTNET, BROADCAST, E131, UNICAST
from netwatch.decode.text import address_text
from netwatch.network import prints
from netwatch.network.network import Network
from netwatch.network.nodes import Bind

I64 = npt.NDArray[np.int64]

USUAL = 1
"""sACN universe minus Art-Net universe, where both count from their first (habit, in neither standard)."""
_MOST = 64
"""Universes of one network that are compared."""


def _by_universe(network: Network, now: int, protocol: int) -> dict[int, dict[int, int]]:
    """Segment to universe to its flow that goes on; of several the one that changed last."""
    streams, size = network.streams, network.streams.table.size
    heard = np.maximum(streams.last[:size], network.hole_end)
    here = streams.table.settled[:size] & streams.table.used[:size] & (streams.protocol[:size] == protocol)
    out: dict[int, dict[int, int]] = {}
    for flow in np.flatnonzero(here & (now - heard <= streams.silence[:size])).tolist():
        universes = out.setdefault(int(streams.segment[flow]), {})
        known = universes.setdefault(int(streams.universe[flow]), flow)
        if streams.changed[flow] > streams.changed[known]:
            universes[int(streams.universe[flow])] = flow
    return out


@dataclass(frozen=True, slots=True)
class _Proven:
    """The levels prove which Art-Net universe carries what an sACN universe carries."""

    offset: int
    """sACN universe minus Art-Net universe."""
    universes: list[int]
    """sACN, those that could be compared."""
    share: float
    """Of equal frames."""
    second: float
    """The same with the next best offset."""


def _proven(network: Network, sacn: dict[int, int], artnet: dict[int, int]) -> _Proven | None:
    numbers, fits = network.numbers, _fits(network, sacn, artnet)
    offset = max(fits, key=lambda each: fits[each][0])
    share, shared = fits[offset]
    second = max(fits[other][0] for other in prints.OFFSETS if other != offset)
    if len(shared) < numbers.same_light_universes or share < numbers.same_light or second >= numbers.other_light:
        return None
    return _Proven(offset, shared, share, second)


def _fits(network: Network, sacn: dict[int, int], artnet: dict[int, int]) -> dict[int, tuple[float, list[int]]]:
    """By offset: (share of equal frames, sACN universes that could be compared)."""
    numbers, known = network.numbers, sorted(sacn)
    pairs = [(offset, universe) for offset in prints.OFFSETS
             for universe in [each for each in known if each - offset in artnet][:_MOST]]  # fmt: skip
    fits: dict[int, tuple[float, list[int]]] = dict.fromkeys(prints.OFFSETS, (0.0, []))
    if pairs:
        offsets, universes = np.array(pairs).T
        ones: I64 = np.array([sacn[universe] for _, universe in pairs])
        others: I64 = np.array([artnet[universe - offset] for offset, universe in pairs])
        tested, found = prints.alike(network.streams.prints, ones, others, int(numbers.same_light_within_s * NS))
        enough = tested >= numbers.same_light_frames
        for offset in np.unique(offsets[enough]).tolist():
            here = enough & (offsets == offset)
            fits[offset] = float(found[here].sum() / tested[here].sum()), universes[here].tolist()
    return fits


class ProtocolsOffByOne:
    """X2: which Art-Net universe carries what an sACN universe carries, found by shifting one against the other."""

    rule = Rule(
        "protocols-off-by-one",
        steady=True,
        until=30 * NS,
        certainty={
            "mirror": "certain",
            "ordinary": "certain",
            "wifi": "certain",
            "limited": "certain",
        },
        numbers=(
            "same_light_universes", "same_light_frames", "same_light_within_s", "same_light", "other_light",
            "same_light_look_s",
        ),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        if not network.streams.prints.on:
            return looked
        sacn, artnet = _by_universe(network, now, E131), _by_universe(network, now, ARTNET)
        for segment in sorted(sacn.keys() & artnet.keys()):
            step = int(network.numbers.same_light_look_s * NS)
            looked.later((now // step + 1) * step, now)
            finding = self._finding(network, segment, sacn[segment], artnet[segment])
            if finding is not None:
                looked.findings.append(finding)
        return looked

    def _finding(self, network: Network, segment: int, sacn: dict[int, int], artnet: dict[int, int]) -> Finding | None:
        streams, proven = network.streams, _proven(network, sacn, artnet)
        if proven is None:
            return None
        offset, universe = proven.offset, proven.universes[0]
        one, other = sacn[universe], artnet[universe - offset]
        return Finding(
            segment,
            "rig",
            "note" if offset == USUAL else "tidy",
            "certain",
            max(int(streams.run[one]), int(streams.run[other])),
            {
                "sacn": universe,
                "artnet": universe - offset,
                "offset": offset,
                "universes": proven.universes,
                "protocol": "e131",
                "share": round(proven.share, 3),
                "second": round(proven.second, 3),
                "senders": sorted({who(network, one), who(network, other)}),
            },
            (int(streams.last_n[one]), int(streams.last_n[other])),
        )


class BothProtocolsOneUniverse:
    """X1: a node gets one universe by both protocols; without such a node only that both are sent. No plan: a hint."""

    rule = Rule(
        "both-protocols-one-universe",
        steady=True,
        after=10 * NS,
        until=30 * NS,
        certainty={
            "mirror": "likely",
            "ordinary": "likely",
            "wifi": "likely",
            "limited": "hint",
        },
        numbers=("fight_levels", "same_light_frames", "same_light_within_s", "same_light", "other_light"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        if not network.streams.prints.on:
            return looked
        sacn, artnet = _by_universe(network, now, E131), _by_universe(network, now, ARTNET)
        for segment in sorted(sacn.keys() & artnet.keys()):
            looked.later(next_grid(now), now)
            nodes = list(self._nodes(network, now, segment, sacn[segment], artnet[segment]))
            looked.findings += nodes or self._senders(network, now, segment, sacn[segment], artnet[segment])
        return looked

    def _nodes(self, network: Network, now: int, segment: int, sacn: dict[int, int], artnet: dict[int, int]) -> Iterator[Finding]:
        """Nodes that say they put out an Art-Net universe, and ask for the sACN universe of the same number."""
        boxes: dict[tuple[int, str], list[Bind]] = {}
        for bind in network.nodes.current(now):
            if bind.segment == segment:
                boxes.setdefault(bind.sender, []).append(bind)
        for binds in boxes.values():
            both = []
            for bind in binds:
                for number in sorted(set(bind.outputs) - bind.follows_e131):
                    universe = next(
                        (each for each in (number + USUAL, number) if self._gets(network, bind, sacn.get(each))), None
                    )
                    if universe is not None and self._reaches(network, bind, artnet.get(number)):
                        both.append((universe, number))
            if both:
                yield self._node(network, now, binds[0], both, sacn, artnet)

    def _gets(self, network: Network, bind: Bind, flow: int | None) -> bool:
        """A box asked for the flow's group, or the flow is sent to it."""
        if flow is None:
            return False
        streams, to = network.streams, address_text(int(network.streams.dst[flow]))
        if streams.cast[flow] == UNICAST:
            return to == bind.src
        group = network.multicast.groups.get((bind.segment, to))
        member = None if group is None else group.members.get(bind.mac)
        return member is not None and member.left is None

    def _reaches(self, network: Network, bind: Bind, flow: int | None) -> bool:
        streams = network.streams
        if flow is None:
            return False
        return bool(streams.cast[flow] == BROADCAST) or address_text(int(streams.dst[flow])) == bind.src

    def _node(
        self, network: Network, now: int, bind: Bind, both: list[tuple[int, int]], sacn: dict[int, int], artnet: dict[int, int]
    ) -> Finding:
        streams = network.streams
        same = [alike(network, now, sacn[universe], artnet[number]) for universe, number in both]
        differ = any(each is False for each in same)
        universe, number = both[same.index(False)] if differ else both[0]
        one, other = sacn[universe], artnet[number]
        return Finding(
            bind.segment,
            host(bind),
            "soon" if differ else "tidy",
            "likely" if differ else "hint",
            max(int(streams.run[one]), int(streams.run[other]), bind.first),
            {
                "who": named(bind),
                "sacn": universe,
                "artnet": number,
                "universes": [each for each, _ in both],
                "protocol": "e131",
                "differ": differ,
                "senders": sorted({who(network, one), who(network, other)}),
            },
            tuple(sorted((int(streams.last_n[one]), int(streams.last_n[other]), bind.n))),
        )

    def _senders(self, network: Network, now: int, segment: int, sacn: dict[int, int], artnet: dict[int, int]) -> list[Finding]:
        """Both are sent; whether anybody takes both is not known."""
        streams, proven = network.streams, _proven(network, sacn, artnet)
        offset = USUAL if proven is None else proven.offset
        shared = [universe for universe in sorted(sacn) if universe - offset in artnet]
        if not shared:
            return []
        flows = [(sacn[universe], artnet[universe - offset]) for universe in shared]
        names = sorted({who(network, flow) for pair in flows for flow in pair})
        differ = any(alike(network, now, *pair) is False for pair in flows[:_MOST])
        return [
            Finding(
                segment,
                "rig",
                "note",
                "hint",
                min(max(int(streams.run[one]), int(streams.run[other])) for one, other in flows),
                {
                    "who": None,
                    "sacn": shared[0],
                    "artnet": shared[0] - offset,
                    "universes": shared,
                    "protocol": "e131",
                    "differ": differ,
                    "senders": names,
                },
                tuple(sorted({int(streams.last_n[flow]) for flow in flows[0]})),
            )
        ]


BOTH_RULES = (BothProtocolsOneUniverse(), ProtocolsOffByOne())
