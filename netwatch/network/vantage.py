"""Where we listen, per port: mirror, ordinary, wifi, limited or unknown, from facts that are shown (contracts 6).

A mirror port shows conversations of others; an ordinary port shows what is broadcast, flooded or asked for. One-way
unicast proves nothing (a switch floods what it has not learned), nor do IGMPv3 reports (they go to 224.0.0.22).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Dhcp
from netwatch.decode.text import mac_number
from netwatch.network.clock import NS
from netwatch.network.keys import KeyTable
from netwatch.network.laptop import LaptopFacts, interfaces
from netwatch.network.leases import ACK, OFFER
from netwatch.network.reach import Kept
from netwatch.numbers import Numbers
from netwatch.packets.batch import Port

U64 = npt.NDArray[np.uint64]

_PAIRS = 4_096
HEARD = 8
"""MACs of a port that are noted one by one."""


@dataclass(slots=True)
class PortState:
    """One port's facts."""

    first: int | None = None
    own: set[int] = field(default_factory=set)
    """Own MACs: the port's, those seen going out until the newest tick's end."""
    sending: set[int] = field(default_factory=set)
    """MACs seen going out in the tick that is open: within a tick no table depends on another."""
    heard: dict[int, int] = field(default_factory=dict)
    """MACs heard, at most 8, and when first."""
    answered: set[int] = field(default_factory=set)
    """MACs that OFFER or ACK was sent to by unicast."""
    vantage: str = "unknown"
    reasons: tuple[str, ...] = ()
    link: str = ""
    linked: int | None = None
    """ns at which the link came up while we listened; until it is heard otherwise."""
    unlinked: int | None = None
    """ns since which there is no link."""
    told: int | None = None
    """ns of the first mark with facts."""
    kept_out: dict[int, Kept] = field(default_factory=dict)
    """UDP ports of light through which nothing gets to programs on this laptop."""
    laptop: LaptopFacts = field(default_factory=LaptopFacts)
    """What the laptop says of this interface."""
    received: int | None = None
    counts: bool = False
    """The system tells how many packets it dropped."""
    dropped: int = 0
    drops: list[tuple[int, int]] = field(default_factory=list)
    """(ns, packets dropped since the mark before), the newest 64."""


class Vantage:
    """Judges each port; moves only from unknown to known."""

    def __init__(self, numbers: Numbers, override: str | None) -> None:
        self.numbers, self.override = numbers, override
        self.ports: dict[int, PortState] = {}
        self.pairs = KeyTable("unicast pairs", 2, _PAIRS)
        self._both_ways: dict[int, set[tuple[int, int]]] = {}
        self.judged: set[int] = set()
        """Ports that were known at a tick's end: their conversations are of no interest any more."""
        self.moved: list[tuple[int, int, str]] = []
        """(ns, port, new vantage) of this tick."""

    def port(self, index: int) -> PortState:
        state = self.ports.get(index)
        if state is None:
            state = self.ports[index] = PortState()
        return state

    def know(self, index: int, port: Port, time: int) -> bool:
        """A port appeared, or was heard from; True the first time."""
        state = self.port(index)
        if state.first is not None:
            return False
        state.first = time
        state.own.update(int.from_bytes(mac, "big") for mac in port.macs)
        state.laptop = LaptopFacts(name=port.name, kind=port.kind, speed=port.speed, addresses=interfaces(port.networks))
        if self.override:
            self._move(index, self.override, ("you said so",), time)
        elif port.made_up:
            self._move(index, "limited", ("plain sockets: only what programs on this laptop get",), time)
        elif port.kind == "wifi":
            self._move(index, "wifi", ("this interface is Wi-Fi",), time)
        return True

    def tell(self, index: int, facts: LaptopFacts, time: int) -> None:
        """The laptop says how an interface is now."""
        state = self.port(index)
        if facts.link and state.link in ("down", "gone"):
            state.linked = time
        state.told = time if state.told is None else state.told
        missing = facts.link is False or facts.present is False
        state.unlinked = (time if state.unlinked is None else state.unlinked) if missing else None
        state.laptop, state.link = facts, facts.link_text

    def pair(self, columns: Sequence[U64], row: int, n: int, time: int) -> None:
        """A new pair (MAC << 16 | port, MAC) of unicast sender and receiver."""
        held = self.pairs.held
        if self.pairs.admit(columns, row, n, time) < 0 or self.pairs.held == held:
            return
        mac, port, other = int(columns[0][row]) >> 16, int(columns[0][row]) & 0xFFFF, int(columns[1][row])
        both = self._both_ways.setdefault(port, set())
        if self.pairs.get(other << 16 | port, mac) >= 0 and len(both) < _PAIRS:
            both.add((min(mac, other), max(mac, other)))

    def answer(self, record: Dhcp) -> None:
        """An OFFER or ACK by unicast shows a conversation of two others, unless the client is we ourselves."""
        if record.message in (OFFER, ACK) and record.chaddr and record.to_mac == record.chaddr:
            answered = self.port(record.segment >> 24).answered
            if len(answered) < 8:
                answered.add(mac_number(record.chaddr))

    def hear(self, port: int, macs: U64, time: npt.NDArray[np.int64]) -> bool:
        """Note the first few MACs heard on a port; True when one is new."""
        state = self.port(port)
        known = len(state.heard)
        if known >= HEARD or not len(macs):
            return False
        fresh, at = np.unique(macs, return_index=True)
        for mac, row in sorted(zip(fresh.tolist(), at.tolist(), strict=True), key=lambda pair: pair[1]):
            if mac and len(state.heard) < HEARD:
                state.heard.setdefault(mac, int(time[row]))
        return len(state.heard) > known

    def send(self, port: int, macs: U64) -> bool:
        """Note MACs that went out: they are ours from the tick's end on; True when one is new."""
        if not len(macs):
            return False
        state = self.port(port)
        fresh = set(np.unique(macs[macs != 0]).tolist()) - state.own - state.sending
        state.sending |= fresh
        return bool(fresh)

    def guess(self, index: int, reporters: set[str]) -> set[int]:
        """Own MACs; else the only MAC whose IGMPv1/v2 reports are heard (switches keep those of others away)."""
        state = self.port(index)
        if state.own:
            return state.own
        return {mac_number(mac) for mac in reporters if mac} if len(reporters) == 1 else set()

    def judge(self, now: int, reporters: dict[int, set[str]]) -> bool:
        """At tick end; True when something became known."""
        moves = len(self.moved)
        for index, state in sorted(self.ports.items()):
            state.own |= state.sending
            state.sending.clear()
            if state.vantage != "unknown" or state.first is None:
                continue
            pairs = self._both_ways.get(index, set())
            if _foreign_pairs(pairs, state.own) >= 2:
                self._move(index, "mirror", ("conversations of other boxes are heard, both ways",), now)
            elif len(state.answered - state.own) >= (2 if state.own else 3):
                self._move(index, "mirror", ("answers of a DHCP server to other boxes are heard",), now)
            else:
                own = self.guess(index, {mac for segment, macs in reporters.items() if segment >> 24 == index for mac in macs})
                foreign = [mac for mac in state.heard if mac not in own]
                if own and len(foreign) >= 2 and now - state.first >= self.numbers.ordinary_after_s * NS:
                    self._move(index, "ordinary", ("nothing between other boxes is heard",), now)
        self.judged = {index for index, state in self.ports.items() if state.vantage != "unknown"}
        return len(self.moved) > moves

    def next_judgement(self, now: int) -> int | None:
        """When a port may become 'ordinary' by time alone."""
        waiting = [
            state.first + int(self.numbers.ordinary_after_s * NS) for state in self.ports.values()
            if state.vantage == "unknown" and state.first is not None
        ]
        return min((time for time in waiting if time > now), default=None)

    def _move(self, index: int, vantage: str, reasons: tuple[str, ...], time: int) -> None:
        state = self.ports[index]
        state.vantage, state.reasons = vantage, reasons
        self.moved.append((time, index, vantage))


def _foreign_pairs(pairs: set[tuple[int, int]], own: set[int]) -> int:
    """Pairs without us. Where our MAC is not known, the busiest MAC might be ours."""
    if own:
        return sum(1 for pair in pairs if not own & set(pair))
    busiest = Counter(mac for pair in pairs for mac in pair)
    return len(pairs) - max(busiest.values(), default=0)
