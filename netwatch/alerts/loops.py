"""Rules about traffic without end: L1 frames that go round in a circle of cables, L2 one box that sends to everybody."""

from __future__ import annotations

from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import who_is
from netwatch.decode.text import address_text, mac_text
from netwatch.network.circles import Circle, Storm
from netwatch.network.clock import TICK
from netwatch.network.network import Network
from netwatch.network.vendors import vendor

_NO_MAC = 1 << 48
"""A speaker without one is its address (``figures.speaker``)."""


class Loop:
    """L1: the same frames come again and again, or our own come back: cables join the network to itself."""

    rule = Rule(
        "loop",
        certainty={"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"},
        explains=(
            "storm", "packets-lost", "packets-out-of-order", "packets-repeated", "rate-too-high", "rate-too-low",
            "artnet-broadcast-load", "multicast-flooded", "source-lost", "universe-silent", "multicast-dropped",
            "bottleneck", "jitter", "querier-lost", "controller-left", "poll-unanswered", "no-dhcp-answer", "sync-lost",
            "artnet-sync-trouble", "malformed-frames",
        ),
        numbers=("loop_copies", "loop_light", "loop_apart_s", "loop_own", "again_within_s"),
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        for segment, circle in network.circles.circles.items():
            over = circle.last + NS
            looked.later(over, now)
            if now < over and circle.proven:
                looked.findings.append(self._finding(network, segment, circle))
        return looked

    @staticmethod
    def _finding(network: Network, segment: int, circle: Circle) -> Finding:
        return Finding(
            segment, "rig", "now", "certain" if circle.certain else "likely", circle.since,
            {"pps": circle.copies * (NS // TICK), "frames": circle.frames, "ours": circle.ours,
             "senders": [_name(network, segment, each) for each in circle.senders]},
            circle.numbers,
        )  # fmt: skip


class StormOfOne:
    """L2: one box sends to everybody without end. Light at its usual rates is none, and neither is what we send ourselves."""

    rule = Rule(
        "storm",
        certainty={"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": None},
        explains=("packets-lost", "rate-too-high", "artnet-broadcast-load", "bottleneck", "jitter"),
        numbers=("storm_pps", "storm_now_pps", "storm_after_s", "storm_now_after_s"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked, numbers = Looked(), network.numbers
        for (segment, sender), storm in network.circles.storms.items():
            over = storm.last + 2 * TICK
            if now >= over or sender in network.own(segment):
                continue
            looked.later(over, now)
            loud = storm.loud is not None and storm.last - storm.loud >= numbers.storm_now_after_s * NS
            if loud or storm.last - storm.since >= numbers.storm_after_s * NS:
                looked.findings.append(self._finding(network, segment, sender, storm, loud))
        return looked

    @staticmethod
    def _finding(network: Network, segment: int, sender: int, storm: Storm, loud: bool) -> Finding:
        mac = "" if sender >= _NO_MAC else mac_text(sender)
        subject = f"host:{mac}" if mac else f"address:{address_text(sender & 0xFFFFFFFF)}"
        return Finding(
            segment, subject, "now" if loud else "quality", "certain", storm.since,
            {"who": _name(network, segment, sender), "mac": mac, "maker": vendor(mac) if mac else "",
             "pps": storm.packets * (NS // TICK), "light": storm.light},
            storm.numbers,
        )  # fmt: skip


def _name(network: Network, segment: int, sender: int) -> str:
    """The best name of a speaker."""
    return address_text(sender & 0xFFFFFFFF) if sender >= _NO_MAC else who_is(network, segment, sender)


LOOP_RULES = (Loop(), StormOfOne())
