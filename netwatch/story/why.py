"""Why does it look like that: one universe followed from its sender to what lies behind the node."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from netwatch.alerts.artnet import named
from netwatch.decode.tables import ARTNET, E131
from netwatch.decode.text import mac_number
from netwatch.network.clock import NS
from netwatch.network.nodes import Bind
from netwatch.story.snapshot import AlertView, GroupView, Snapshot, Station, StreamView, Why
from netwatch.words import VANTAGE
from netwatch.words import why as words
from netwatch.words.sees import RIG, STATIONS, sees, station

if TYPE_CHECKING:
    from netwatch.story.play import Player

Clock = Callable[[int], str]
_BAD = ("now", "soon", "quality")
_JUST_OVER = 120 * NS
"""What was over for no longer may still be what was seen. Common practice, no source."""
_STILL = 10 * NS
"""Levels that stand for so long are told. Common practice, no source."""
_MOST = 4


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked: protocol as 'e131' or 'artnet', the universe, and what is seen (a key of ``SEES``, None = not told)."""

    protocol: str
    universe: int
    see: str | None = None


class _Case:
    """All that is known of one universe."""

    def __init__(self, player: Player, snapshot: Snapshot, asked: Asked, clock: Clock) -> None:
        self.network, self.snapshot, self.asked, self.clock = player.network, snapshot, asked, clock
        mine = [each for each in snapshot.streams if (each.protocol, each.universe) == (asked.protocol, asked.universe)]
        self.streams: list[StreamView] = mine
        self.sent = [each for each in mine if not (each.silent or each.ended or each.preview)]
        groups = snapshot.groups if asked.protocol == "e131" else ()
        self.groups: list[GroupView] = [each for each in groups if asked.universe == each.universe or each.group == self.group]
        self.binds: list[Bind] = [
            each for each in player.network.nodes.current(snapshot.now) if asked.universe in each.outputs and self._takes(each)
        ]
        self.alerts = [each for each in snapshot.alerts if self._matters(each)]

    @property
    def group(self) -> str:
        """E1.31-2018 9.3.1."""
        return f"239.255.{self.asked.universe >> 8}.{self.asked.universe & 255}"

    def station(self, alert: AlertView) -> str:
        """Where it belongs; what is wrong with the sender's own address is the sender's."""
        senders = {each.address for each in self.streams}
        own = {f"host:{host.mac}" for host in self.snapshot.hosts if senders & set(host.addresses)}
        return "sender" if alert.subject in own or alert.subject.removeprefix("address:") in senders else station(alert.code)

    @property
    def askers(self) -> list[str]:
        """MACs of other boxes that asked for its group."""
        if self.asked.protocol != "e131":
            return []
        out: dict[str, None] = {}
        for (segment, group), each in self.network.multicast.groups.items():
            if group == self.group:
                own = self.network.own(segment)
                out |= dict.fromkeys(mac for mac in each.listening if mac_number(mac) not in own)
        return list(out)

    @property
    def known(self) -> bool:
        named = any(self._names(each) for each in self.snapshot.alerts)
        return bool(self.streams or self.binds or named or any(each.members for each in self.groups))

    @property
    def hears(self) -> bool:
        """It would be heard if it were sent."""
        if any(each.vantage == "mirror" for each in self.snapshot.listening):
            return True
        if self.asked.protocol == "artnet":
            return bool(self.streams) and all(each.destination == "broadcast" for each in self.streams)
        asked = any(each.wanted_here == "wanted" for each in self.groups)
        newest = max((each.last for each in self.snapshot.queriers), default=0)
        queried = self.snapshot.now - newest <= self.network.numbers.querier_gone_s * NS
        return bool(self.network.multicast.floods) or (asked and queried)

    @property
    def held_back(self) -> bool:
        """An alert says that the network took it away: its silence proves nothing of the sender."""
        standing = [each for each in self.alerts if each.closed is None and each.severity in _BAD]
        return any(self.station(each) in ("switch", "laptop") for each in standing)

    def _takes(self, bind: Bind) -> bool:
        """Art-Net of this number; for sACN an output that says that it follows it."""
        return self.asked.protocol == "artnet" or self.asked.universe in bind.follows_e131

    def _names(self, alert: AlertView) -> bool:
        """The alert is about this universe."""
        facts, number = alert.facts, self.asked.universe
        own = facts.get("sacn") if self.asked.protocol == "e131" else facts.get("artnet")
        if own == number:
            return True
        renumbered = {*(facts.get("sent") or ()), *(facts.get("wanted") or ())} if "way" in facts else set()
        if renumbered:
            return self.asked.protocol == "artnet" and number in renumbered
        numbers = {facts.get("universe"), *(facts.get("universes") or ())}
        return number in numbers and (facts.get("protocol") or "e131") == self.asked.protocol

    def _matters(self, alert: AlertView) -> bool:
        """It can be behind what is seen, and stands or was over just now."""
        if alert.closed is not None and self.snapshot.now - alert.closed > _JUST_OVER:
            return False
        if self.asked.see is not None and self.asked.see not in sees(alert.code):
            return False
        boxes = {each.address for each in self.streams} | {each.src for each in self.binds}
        macs = {f"host:{each.mac}" for each in self.binds} | {
            f"host:{host.mac}" for host in self.snapshot.hosts if boxes & set(host.addresses)
        }
        about_us = alert.subject in macs or alert.subject.removeprefix("address:") in boxes
        if alert.about_laptop:
            return True
        if self.streams and alert.interface not in {each.interface for each in self.streams}:
            return False
        if self._names(alert) or alert.code in RIG[self.asked.protocol] or self.asked.see == "not-found":
            return True
        return about_us and not alert.facts.get("universes")


def why(player: Player, snapshot: Snapshot, asked: Asked, clock: Clock) -> Why:
    """The five stations and what follows; ``clock`` shows a moment in the reader's time."""
    case = _Case(player, snapshot, asked, clock)
    if not case.known:
        heard = {p: sorted({each.universe for each in snapshot.streams if each.protocol == p}) for p in ("e131", "artnet")}
        text = words.unknown(asked.universe, asked.protocol, heard["e131"], heard["artnet"])
        return Why(asked.protocol, asked.universe, asked.see, snapshot.now, (), text)
    makers = (_sender, _switch, _laptop, _node, _behind)
    stations = tuple(_with_alerts(case, name, *make(case)) for name, make in zip(STATIONS, makers, strict=True))
    return Why(asked.protocol, asked.universe, asked.see, snapshot.now, stations, _verdict(case, stations))


def _with_alerts(case: _Case, name: str, state: str, texts: Sequence[str]) -> Station:
    """An alert speaks louder than what was seen."""
    mine = [each for each in case.alerts if case.station(each) == name and each.severity in _BAD]
    top = [each for each in mine if each.over not in {other.id for other in mine}]
    top.sort(key=lambda each: (each.closed is not None, _BAD.index(each.severity), each.since, each.id))
    wrong = any(each.closed is None or case.asked.see is not None for each in top)
    told = [words.alert(each.title, each.id, None if each.closed is None else case.clock(each.closed)) for each in top[:_MOST]]
    both = (*told, *texts) if wrong else (*texts, *told)
    return Station(name, "WRONG" if wrong else state, both, tuple(each.id for each in top))


# ---- the stations: state, sentences ----


def _sender(case: _Case) -> tuple[str, list[str]]:
    if case.sent:
        return _sending(case)
    clock = case.clock
    texts = [words.preview(each.name) for each in case.streams if each.preview and not each.silent]
    texts += [words.said_goodbye(each.name or each.address, clock(each.last)) for each in case.streams if each.ended]
    gone = [each for each in case.streams if each.silent and not each.ended]
    hears = case.hears and not case.held_back
    texts += [words.silent(each.name or each.address, clock(each.last), hears) for each in gone]
    if not case.streams:
        return ("WRONG" if hears else "CAN'T SEE"), [words.nobody(case.asked.protocol, hears)]
    sure = hears or len(gone) < len(case.streams)
    return ("WRONG" if sure else "CAN'T SEE"), texts[:_MOST]


def _sending(case: _Case) -> tuple[str, list[str]]:
    texts, see = [], case.asked.see
    for each in case.sent[:_MOST]:
        texts.append(words.sends(each.name, each.address, each.rate_now or each.rate or 0, each.priority, each.slots, each.lit))
    texts += [words.preview(each.name) for each in case.streams if each.preview and not each.silent]
    top = _leading(case)
    if top.lit:
        texts.append(words.level(*_brightest(case, top)))
    stands = case.snapshot.now - top.last_change if top.last_change is not None else None
    if stands is None:
        texts.append(words.never_moved())
    elif stands >= _STILL:
        texts.append(words.still(case.clock(case.snapshot.now - stands), stands))
    return ("WRONG" if see == "dark" and not any(each.lit for each in case.sent) else "FINE"), texts


def _switch(case: _Case) -> tuple[str, list[str]]:
    if not case.sent:
        return "CAN'T SEE", [] if case.held_back else [words.NOT_ARRIVING]
    dark = [each.goes_dark_by for each in case.groups if each.goes_dark_by is not None]
    if dark:
        return "WRONG", [words.goes_dark(case.clock(min(dark)))]
    last = max(case.snapshot.queriers, key=lambda each: each.last, default=None)
    return "FINE", [words.arrives(case.sent[0].destination, "" if last is None else last.address, len(case.askers))]


def _laptop(case: _Case) -> tuple[str, list[str]]:
    places = [VANTAGE[each.vantage].name for each in case.snapshot.listening]
    texts = [words.laptop(place, case.snapshot.dropped) for place in dict.fromkeys(places)]
    return ("WRONG" if case.snapshot.dropped else "FINE"), texts[:_MOST]


def _node(case: _Case) -> tuple[str, list[str]]:
    number = case.asked.universe
    if case.binds:
        texts = [
            words.node(named(each), each.src, case.clock(each.last), number in each.fed, number in each.merging,
                       number in each.follows_e131)
            for each in case.binds[:_MOST]
        ]  # fmt: skip
        starving = case.sent and not any(number in each.fed for each in case.binds)
        return ("WRONG" if starving else "FINE"), texts
    if case.askers:
        return "CAN'T SEE", [words.asked(list(_box_names(case, case.askers)))]
    return "CAN'T SEE", [words.NO_NODE]


def _behind(case: _Case) -> tuple[str, list[str]]:
    return "CAN'T SEE", [words.BEHIND]


def _box_names(case: _Case, macs: Iterable[str]) -> Iterable[str]:
    hosts = {each.mac: each for each in case.snapshot.hosts}
    for mac in macs:
        host = hosts.get(mac)
        known = [] if host is None else [*(name for name, _ in host.names), *host.addresses]
        yield known[0] if known else mac


# ---- what follows ----


def _leading(case: _Case) -> StreamView:
    """The stream that most receivers show: highest priority, then most channels lit."""
    return max(case.sent, key=lambda each: (each.priority or 0, each.lit, -each.first))


def _brightest(case: _Case, stream: StreamView) -> tuple[int, int]:
    """(channel, level) of a stream's brightest DMX channel, the first of equals."""
    streams = case.network.streams
    protocol = E131 if stream.protocol == "e131" else ARTNET
    used = np.flatnonzero(streams.table.used[: streams.table.size]).tolist()
    flows = [
        flow for flow in used
        if (int(streams.protocol[flow]), int(streams.universe[flow])) == (protocol, stream.universe)
        and case.network.source_id(flow) == stream.source
    ]  # fmt: skip
    flow = max(flows, key=lambda each: (int(streams.last[each]), -each))
    channel = int(streams.levels[flow].argmax())
    return channel + 1, int(streams.levels[flow][channel])


def _verdict(case: _Case, stations: Sequence[Station]) -> str:
    asked, number, protocol = case.asked, case.asked.universe, case.asked.protocol
    black = case.sent and not any(each.lit for each in case.sent)
    alerts = {each.id: each for each in case.alerts}
    for each in stations:
        if each.state == "WRONG" and not (each.name == "sender" and black and not each.alerts):
            first = alerts[each.alerts[0]].first_step if each.alerts else ""
            return words.verdict_wrong(each.name, each.texts[0], first)
    if black:
        return words.black(number, protocol)
    if not case.sent:
        return words.unsure(number, protocol)
    top = _leading(case)
    rate = top.rate_now or top.rate or 0
    changed = top.first if top.last_change is None else top.last_change
    if asked.see in ("frozen", "stopped") and case.snapshot.now - changed >= _STILL:
        return words.frozen(number, protocol, rate, case.clock(changed))
    return words.acquitted(number, protocol, rate, *_brightest(case, top))
