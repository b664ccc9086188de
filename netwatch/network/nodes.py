"""Art-Net nodes as they tell it: which of them answer, with which outputs.

A node may answer with several replies, one a bind (Art-Net 4 p.6); each is kept by itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import PollReply
from netwatch.network.capped import Capped
from netwatch.network.clock import NS
from netwatch.network.pollers import Pollers
from netwatch.numbers import Numbers

I64 = npt.NDArray[np.int64]

_OUTPUT, _FED, _MERGING, _FOLLOWS_E131 = 0x80, 0x80, 0x08, 0x01
"""PortTypes bit 7 (p.27); GoodOutputA bits 7, 3 and 0 (p.28)."""
_ONE_ANSWER = 10 * NS
"""Replies of all binds come within it; a bind that was not heard for so long while others were is gone (derived: p.15)."""
_ALL, _EVERYBODY = "ff:ff:ff:ff:ff:ff", "255.255.255.255"

BindKey = tuple[int, str, str, str, str, int]


@dataclass(slots=True)
class Bind:
    """What one reply says, and how often it was said. MACs are text, '' = none."""

    segment: int
    mac: str
    """Ethernet source."""
    src: str
    """IP source."""
    address: str
    """The address that the reply tells, '' = 0.0.0.0."""
    node_mac: str
    """The MAC that the reply tells, '' = none."""
    first: int
    first_n: int
    last: int = 0
    n: int = 0
    replies: int = 0
    answers: int = 0
    """Replies that came soon after a poll to all."""
    to: str = ""
    """Where the newest went to."""
    to_all: bool = False
    short_name: str = ""
    long_name: str = ""
    firmware: int = 0
    """VersInfo (p.25)."""
    first_firmware: int = 0
    """As it was told first."""
    outputs: tuple[int, ...] = ()
    fed: frozenset[int] = frozenset()
    """Outputs that say that they put out data."""
    merging: frozenset[int] = frozenset()
    follows_e131: frozenset[int] = frozenset()

    @property
    def sender(self) -> tuple[int, str]:
        """(segment, MAC, or its address where the link has none)."""
        return self.segment, self.mac or self.src

    @property
    def own_word(self) -> bool:
        """It speaks of itself, not for another box (a proxy, a merger, a second network card)."""
        return not (self.mac and self.node_mac) or self.mac == self.node_mac


class Nodes:
    """Their binds, and flows whose numbers stand still."""

    def __init__(self, numbers: Numbers) -> None:
        self.numbers = numbers
        self.binds: Capped[BindKey, Bind] = Capped("Art-Net nodes", int(numbers.cap_nodes))
        self._packets: I64 = np.zeros(0, np.int64)
        self._repeated: I64 = np.zeros(0, np.int64)
        self.stuck: I64 = np.zeros(0, np.int64)
        """[flows] packets in a row with one and the same number, by whole buckets."""

    def fold(self, record: PollReply, time: int, pollers: Pollers) -> None:
        """One reply, in order of n, perhaps to one of ``pollers``."""
        if not record.src:
            return
        node_mac = "" if set(record.node_mac) <= set("0:") else record.node_mac
        key = (record.segment, record.mac, record.src, node_mac, record.address, record.bind_index)
        bind = self.binds.touch(
            key, time, lambda: Bind(record.segment, record.mac, record.src, record.address, node_mac, time, record.n)
        )
        if bind is None:
            return
        bind.last, bind.n, bind.to = time, record.n, record.dst
        bind.to_all = record.to_mac == _ALL or record.dst == _EVERYBODY
        bind.firmware = record.firmware
        if not bind.replies:
            bind.first_firmware = record.firmware
        bind.replies += 1
        bind.answers += pollers.asked(record.segment, time, int(self.numbers.reply_within_s * NS))
        bind.short_name, bind.long_name, bind.outputs = record.short_name, record.long_name, record.outputs
        ports = [at for at in range(record.ports) if record.port_types[at] & _OUTPUT]
        state = dict(zip(record.outputs, (record.good_output[at] for at in ports), strict=True))
        bind.fed = frozenset(number for number, bits in state.items() if bits & _FED)
        bind.merging = frozenset(number for number, bits in state.items() if bits & _MERGING)
        bind.follows_e131 = frozenset(number for number, bits in state.items() if bits & _FOLLOWS_E131)

    def close_bucket(self, packets: I64, repeated: I64) -> None:
        """At the end of a tick on the 10 s grid; both are running counts by flow."""
        size = len(packets)
        sent, again = packets - sized(self._packets, size), repeated - sized(self._repeated, size)
        stuck = sized(self.stuck, size)
        # The first packet of a run repeats nothing.
        stands = (again > 0) & (again >= sent - (stuck == 0))
        self.stuck = np.where(stands, stuck + again, np.where(sent > 0, 0, stuck))
        self._packets, self._repeated = packets.copy(), repeated.copy()

    def forget(self, flows: I64) -> None:
        """These flows left; their ids will be those of others."""
        for array in (self._packets, self._repeated, self.stuck):
            array[flows[flows < len(array)]] = 0

    def current(self, now: int) -> Iterator[Bind]:
        """Binds that their boxes still tell, by first appearance."""
        newest: dict[tuple[int, str], int] = {}
        for bind in self.binds.values():
            newest[bind.sender] = max(bind.last, newest.get(bind.sender, 0))
        fresh = int(self.numbers.node_fresh_s * NS)
        for bind in self.binds.values():
            if newest[bind.sender] - bind.last <= _ONE_ANSWER and now - bind.last <= fresh:
                yield bind

    def evict(self, time: int) -> None:
        """At tick end."""
        self.binds.evict(time)


def sized(array: I64, size: int) -> I64:
    """The first ``size`` entries, zeros behind the end."""
    return array[:size] if len(array) >= size else np.append(array, np.zeros(size - len(array), array.dtype))
