"""A controller left: its light and its ARP stopped together while others go on. It sleeps, or is on another network."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import who
from netwatch.decode.tables import E131
from netwatch.decode.text import mac_text
from netwatch.network.boxes import Box
from netwatch.network.network import Network
from netwatch.network.streams import TERMINATED
from netwatch.network.switched_off import went_off

_MADE_UP = 1 << 41
"""Locally administered (IEEE 802 8.2.2): a MAC that a system made up, as for privacy."""
_LEAST_WORDS = 3
_OTHERS_ALIVE = 30 * NS
_SOON = 10 * NS
"""So long a word of another box is waited for second by second; later on the grid."""


class ControllerLeft:
    """Told of boxes that send light and speak by ARP often enough to be missed."""

    rule = Rule(
        "controller-left",
        explains=("source-lost", "universe-silent"),
        note_in_building=True,
        worse_with="universes",
        certainty={
            "mirror": "likely",
            "ordinary": "likely",
            "wifi": "likely",
            "limited": None,
        },
        numbers=("left_least_s", "left_words", "left_most_s", "left_told_s"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        if not network.streams.table.size:
            return looked
        looked.later(next_grid(now), now)
        for segment, mac, flows in self._dark(network, now):
            began = self._gone(network, looked, now, segment, mac, flows)
            if began is not None:
                finding = self._finding(network, now, segment, mac, flows, began)
                looked.findings += [finding] if finding is not None else []
        return looked

    def _dark(self, network: Network, now: int) -> Iterator[tuple[int, int, list[int]]]:
        """Boxes, not this laptop, all of whose light stopped without a goodbye."""
        streams, size = network.streams, network.streams.table.size
        used = streams.table.used[:size] & streams.table.settled[:size] & (streams.mac[:size] != 0)
        used &= ~went_off(streams, network.off, streams.last[:size])
        late = now - np.maximum(streams.last[:size], network.hole_end) > streams.silence[:size]
        if not (used & late).any():
            return
        ended = (streams.options[:size] & TERMINATED) != 0
        boxes: dict[tuple[int, int], list[int]] = {}
        for flow in np.flatnonzero(used).tolist():
            boxes.setdefault((int(streams.segment[flow]), int(streams.mac[flow])), []).append(flow)
        for (segment, mac), flows in boxes.items():
            if late[flows].all() and not ended[flows].any() and mac not in network.own(segment):
                yield segment, mac, flows

    def _gone(self, network: Network, looked: Looked, now: int, segment: int, mac: int, flows: list[int]) -> int | None:
        """Since when neither light nor ARP came, where that means something and others are heard."""
        numbers, word = network.numbers, network.arp_words.get(segment, mac)
        if word is None or word.count < _LEAST_WORDS:
            return None
        light = int(network.streams.last[flows].max())
        began = max(light, word.last)
        pause = (began - word.first) / word.count
        patience = max(numbers.left_words * pause, numbers.left_least_s * NS)
        due = max(began, network.hole_end) + patience
        looked.later(due, now)
        if patience > numbers.left_most_s * NS or now < due:
            return None
        if word.last - light > numbers.left_least_s * NS:
            return None
        if not self._others(network, now, segment, mac, began):
            looked.later(min(now, due + _SOON) + NS, now)
            return None
        return began

    def _others(self, network: Network, now: int, segment: int, mac: int, began: int) -> bool:
        """Is another box of the network heard?"""
        streams, size = network.streams, network.streams.table.size
        others = streams.table.used[:size] & (streams.segment[:size] == segment) & (streams.mac[:size] != mac)
        least = max(began + int(network.numbers.left_least_s * NS), now - _OTHERS_ALIVE)
        if (streams.last[:size][others] >= least).any():
            return True
        return network.arp_words.heard(segment, least, {mac, *network.own(segment)})

    def _finding(self, network: Network, now: int, segment: int, mac: int, flows: list[int], began: int) -> Finding | None:
        streams = network.streams
        back = self._back(network, segment, mac, began)
        if back is not None and now - back[1].first > network.numbers.left_told_s * NS:
            return None
        universes = sorted({int(streams.universe[flow]) for flow in flows})
        sources = sorted({f"source:{network.source_id(flow)}" for flow in flows})
        by_sacn = bool((streams.protocol[flows] == E131).any())
        word = network.arp_words.get(segment, mac)
        return Finding(
            segment,
            f"host:{mac_text(mac)}",
            "note" if back else "now" if by_sacn else "soon",
            "likely",
            began,
            {
                "who": who(network, flows[0]),
                "universes": universes,
                "protocol": "e131" if by_sacn else "artnet",
                "seconds": (now - began) / NS,
                "back_as": mac_text(back[1].mac) if back else None,
                "made_up": bool(back[1].mac & _MADE_UP) if back else None,
                "elsewhere": network.interface(back[0]) if back and back[0] != segment else None,
                "covers": [*sources, *(f"universe:{number}" for number in universes)],
            },
            tuple(sorted({*(int(streams.last_n[flow]) for flow in flows[:3]), *([word.n] if word else [])})),
        )

    def _back(self, network: Network, segment: int, mac: int, began: int) -> tuple[int, Box] | None:
        """(segment, box) that came since and asked for an address under the same name, or is the same box elsewhere."""
        gone = network.claims.boxes.get((segment, mac))
        name = gone.names.get("DHCP") if gone is not None else None
        for (where, other), box in network.claims.boxes.items():
            same_box = other == mac and where != segment
            if box.first > began and (same_box or (other != mac and name and box.names.get("DHCP") == name)):
                return where, box
        return None


LEFT_RULES = (ControllerLeft(),)
