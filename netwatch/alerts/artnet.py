"""Rules over what Art-Net's boxes say of themselves: R3, R4, R9; numbers and light have modules of their own."""

from __future__ import annotations

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.tables import ARTNET
from netwatch.decode.text import mac_number
from netwatch.network.network import Network
from netwatch.network.nodes import Bind
from netwatch.network.pollers import Poller

_EVERYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"}


def active(network: Network, now: int, segment: int | None = None) -> list[int]:
    """Established Art-Net flows that go on, by id."""
    streams, size = network.streams, network.streams.table.size
    heard = np.maximum(streams.last[:size], network.hole_end)
    here = streams.table.settled[:size] & streams.table.used[:size] & (streams.protocol[:size] == ARTNET)
    here &= now - heard <= streams.silence[:size]
    if segment is not None:
        here &= streams.segment[:size] == segment
    return np.flatnonzero(here).tolist()


def host(bind: Bind) -> str:
    """Subject of the box that answers."""
    return f"host:{bind.mac}" if bind.mac else f"address:{bind.src}"


def named(bind: Bind) -> str:
    """A node by its own word."""
    return bind.long_name or bind.short_name or bind.src


# ---- R3: polls without an answer ----


class PollUnanswered:
    """R3: a node that answered polls, where we hear answers, does so no more, though its box lives."""

    rule = Rule(
        "poll-unanswered", certainty=_EVERYWHERE | {"limited": None},
        numbers=("polls_unanswered", "polls_unanswered_s", "answers_least"), note_in_building=True,
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        pollers = [poller for poller in network.pollers.values() if poller.times] if len(network.nodes.binds) else []
        if not pollers:
            return looked
        looked.later(next_grid(now), now)
        for binds in _boxes(network, now):
            newest = max(binds, key=lambda bind: (bind.last, bind.n))
            for poller in pollers:
                finding = self._finding(network, now, newest, sum(bind.answers for bind in binds), poller, looked)
                if finding is not None:
                    looked.findings.append(finding)
                    break
        return looked

    def _finding(
        self, network: Network, now: int, bind: Bind, answers: int, poller: Poller, looked: Looked
    ) -> Finding | None:
        numbers = network.numbers
        asked = [(time, n) for time, n in poller.times if time > max(bind.last, network.hole_end)]
        if poller.segment != bind.segment or not bind.mac or bind.mac == poller.mac or len(asked) < numbers.polls_unanswered:
            return None
        looked.later(asked[0][0] + numbers.polls_unanswered_s * NS, now)
        if now - asked[0][0] < numbers.polls_unanswered_s * NS or now - asked[-1][0] > numbers.polls_unanswered_s * NS:
            return None
        ours = bool(poller.mac) and mac_number(poller.mac) in network.own(bind.segment)
        heard_here = bind.to == poller.address or bind.to_all
        if not heard_here or answers < (1 if ours else numbers.answers_least):
            return None
        if last_word(network, bind.segment, mac_number(bind.mac)) <= asked[0][0]:
            return None
        mirror = network.where(bind.segment) == "mirror"
        return Finding(
            bind.segment,
            host(bind),
            "soon" if ours or mirror else "quality",
            "certain" if ours else "likely" if mirror else "hint",
            asked[0][0],
            {
                "who": named(bind),
                "address": bind.src,
                "asked_by": poller.address,
                "polls": len(asked),
                "ours": ours,
                "seconds": (now - bind.last) / NS,
            },
            (bind.n, *(n for _, n in asked[:2]), asked[-1][1]),
        )


def _boxes(network: Network, now: int) -> list[list[Bind]]:
    """Current binds by their box."""
    boxes: dict[tuple[int, str], list[Bind]] = {}
    for bind in network.nodes.current(now):
        boxes.setdefault(bind.sender, []).append(bind)
    return list(boxes.values())


def last_word(network: Network, segment: int, mac: int) -> int:
    """ns of the newest packet that a box sent, of any kind that claims an address, or light."""
    streams, claims = network.streams, network.claims
    flows = streams.of_sender(segment, mac)
    words = [int(streams.last[flow]) for flow in flows]
    words += [int(claims.last[claim]) for claim, _ in claims.addresses().get((segment, mac), [])]
    return max(words, default=0)


# ---- R4, R9: what replies say ----


class ReplyAddressWrong:
    """R4: a reply tells another address than the one that it comes from, or none."""

    rule = Rule("reply-address-wrong", after=3 * NS, certainty=_EVERYWHERE, numbers=("node_fresh_s",), signs="quiet_asking_s")

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        for binds in _boxes(network, now):
            wrong = [bind for bind in binds if bind.address != bind.src]
            if not wrong:
                continue
            told = {bind.address for bind in binds}
            # A box that answers for others tells several addresses, or another box's MAC.
            if len(told) > 1 or not all(bind.own_word for bind in wrong):
                continue
            bind = wrong[0]
            looked.later(max(each.last for each in wrong) + int(network.numbers.node_fresh_s * NS) + 1, now)
            looked.findings.append(
                Finding(
                    bind.segment,
                    host(bind),
                    "now" if not bind.address else "soon",
                    "certain",
                    bind.first,
                    {"who": named(bind), "address": bind.src, "told": bind.address or "0.0.0.0", "replies": bind.replies},
                    tuple(sorted({bind.first_n, bind.n})),
                    max(each.last for each in wrong),
                )
            )
        return looked


class SameNodeName:
    """R9: several boxes call themselves the same; one line for all of a network."""

    rule = Rule("same-node-name", certainty=_EVERYWHERE, numbers=("node_fresh_s",))

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        found: dict[tuple[int, str, str], dict[tuple[str, str], Bind]] = {}
        for bind in network.nodes.current(now):
            if bind.own_word and bind.short_name:
                boxes = found.setdefault((bind.segment, bind.short_name, bind.long_name), {})
                boxes.setdefault((bind.node_mac or bind.mac, "" if bind.node_mac or bind.mac else bind.src), bind)
        lines: dict[int, list[list[Bind]]] = {}
        for (segment, _, _), boxes in found.items():
            if len(boxes) > 1:
                lines.setdefault(segment, []).append(list(boxes.values()))
        for segment, groups in lines.items():
            every = [bind for group in groups for bind in group]
            looked.later(min(bind.last for bind in every) + int(network.numbers.node_fresh_s * NS) + 1, now)
            looked.findings.append(
                Finding(
                    segment,
                    "rig",
                    "tidy",
                    "certain",
                    min(sorted(bind.first for bind in group)[1] for group in groups),
                    {
                        "names": [named(group[0]) for group in groups],
                        "boxes": len(every),
                        "addresses": sorted({bind.src for bind in every}),
                    },
                    tuple(sorted(bind.first_n for bind in every))[:8],
                )
            )
        return looked


ARTNET_RULES = (PollUnanswered(), ReplyAddressWrong(), SameNodeName())
