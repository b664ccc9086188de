"""What the rules over streams look at: one stretch's figures, and what follows from them, computed once.

All masks are [ticks, flows]. Most mark nothing at most ticks: then they are ``nothing`` itself, where that is easily known.
Slow tables stand still inside a stretch, so what comes from them is [flows].
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from netwatch.alerts.hearing import Hearing, of_flows
from netwatch.decode.tables import E131, MULTICAST
from netwatch.decode.text import address_text, mac_text
from netwatch.network.figures import Figures
from netwatch.network.network import Network
from netwatch.network.slots import SLOTS
from netwatch.network.streams import PREVIEW, TERMINATED
from netwatch.network.switched_off import went_off
from netwatch.network.switching import pauses

Mask = npt.NDArray[np.bool_]
I64 = npt.NDArray[np.int64]

NS = 1_000_000_000


class Scene:
    """One stretch, for the rules over streams."""

    def __init__(self, network: Network, figures: Figures, still: dict[str, Any] | None = None) -> None:
        """``still`` = that of an earlier stretch, where the slow tables did not change since."""
        self.network, self.figures = network, figures
        self.memo: dict[str, Any] = {}
        """What rules computed for this stretch and share."""
        self._who: dict[int, str] = {}
        """Names of flows that were asked for."""
        self.flows = figures.last.shape[1]
        self.still = still if still is not None and still["flows"] == self.flows else {"flows": self.flows}
        """What follows from the slow tables alone: it stands until they change."""

    def standing(self, name: str, make: Callable[[], Mask]) -> Mask | None:
        """[flows] what the slow tables alone decide, worked out anew only when they changed; None = of no flow."""
        if name not in self.still:
            mask = make()
            self.still[name] = mask if mask.any() else None
        return self.still[name]  # type: ignore[no-any-return]

    @cached_property
    def nothing(self) -> Mask:
        """[ticks, flows] a mask that marks nothing; not to be written to."""
        nothing = np.zeros(self.figures.last.shape, bool)
        nothing.flags.writeable = False
        return nothing

    def _if_any(self, mask: Mask) -> Mask:
        return mask if mask.any() else self.nothing

    @cached_property
    def used(self) -> Mask:
        return self.network.streams.table.used[: self.flows]

    @cached_property
    def settled(self) -> Mask:
        return self.network.streams.table.settled[: self.flows] & self.used

    @cached_property
    def age(self) -> I64:
        """ns since the newest packet, counted from the end of the last hole at the earliest."""
        heard = np.maximum(self.figures.last, self.network.hole_end)
        return self.figures.now[:, None] - heard

    @cached_property
    def late(self) -> Mask:
        """No packet for longer than receivers wait."""
        return self._if_any(self.used & (self.age > self.network.streams.silence[: self.flows]))

    @cached_property
    def plain(self) -> bool:
        """All newest packets are meant for output, and none says that its source stops."""
        return not (self.figures.options & (TERMINATED | PREVIEW)).any()

    @cached_property
    def ended(self) -> Mask:
        """The newest packet said that the source stops (E1.31-2018 6.2.6)."""
        return self.nothing if self.plain else self._if_any(self.used & ((self.figures.options & TERMINATED) != 0))

    @cached_property
    def active(self) -> Mask:
        if self.late is self.nothing and self.ended is self.nothing:
            return self.used | self.nothing
        return self.used & ~self.late & ~self.ended

    @cached_property
    def silent(self) -> Mask:
        """Established, late, and never said goodbye; what was switched off with its rig is no loss."""
        if self.late is self.nothing:
            return self.nothing
        silent: Mask = self.settled & self.late & ~self.ended
        if self.network.off:
            silent &= ~went_off(self.network.streams, self.network.off, self.figures.last)
        return self._if_any(silent)

    @cached_property
    def live(self) -> Mask:
        """Active and meant for output, not for preview."""
        return self.active if self.plain else self.active & ((self.figures.options & PREVIEW) == 0)

    @cached_property
    def hearing(self) -> Hearing:
        at = self.network.revision_of(("multicast",))
        if self.still.get("heard_at") != at:
            self.still["heard_at"], self.still["hearing"] = at, of_flows(self.network, self.used)
        return self.still["hearing"]  # type: ignore[no-any-return]

    @cached_property
    def missed(self) -> Mask:
        """Silent, and that may be an alert; where it was asked for only now, for longer than it may pause as well."""
        if self.silent is self.nothing:
            return self.nothing
        missed = self.silent & self.hearing.matters
        patience = self.network.streams.silence[: self.flows] + pauses(self.network, slice(self.flows))
        missed &= self.figures.now[:, None] > self.hearing.asked + patience
        return self._if_any(missed)

    @cached_property
    def missed_heard(self) -> Mask:
        """Missed, and we would hear it if it were sent."""
        return self.nothing if self.missed is self.nothing else self._if_any(self.missed & self.heard)

    @cached_property
    def missed_unheard(self) -> Mask:
        """Missed, and perhaps it does not get here."""
        return self.nothing if self.missed is self.nothing else self._if_any(self.missed & ~self.missed_heard)

    @cached_property
    def heard(self) -> Mask:
        """We would hear the flow: proven for its port, or another sender of the same group comes through."""
        now = self.figures.now[:, None]
        direct: Mask = (now <= self.hearing.until) & (now - self.hearing.since > self.network.streams.silence[: self.flows])
        for flows in self._same_group():
            direct[:, flows] |= self.active[:, flows].any(axis=1, keepdims=True)
        return direct

    def _same_group(self) -> list[list[int]]:
        """Flows of each group that several senders send to."""
        if "groups" not in self.still:
            streams, groups = self.network.streams, dict[tuple[int, int], list[int]]()
            for flow in np.flatnonzero(self.used & (streams.cast[: self.flows] == MULTICAST)).tolist():
                groups.setdefault((int(streams.segment[flow]), int(streams.dst[flow])), []).append(flow)
            self.still["groups"] = [flows for flows in groups.values() if len(flows) > 1]
        return self.still["groups"]  # type: ignore[no-any-return]

    @cached_property
    def sender_alive(self) -> I64:
        """ns of the newest packet of any kind from each flow's sender."""
        return self.figures.alive[:, self.network.streams.alive[: self.flows]]

    def levels(self, ticks: I64, flows: I64, slots: int = SLOTS) -> npt.NDArray[np.uint8]:
        """[cells, slots] levels of the first ``slots`` of flows at the ends of ticks."""
        rows, before = self.figures.newest[ticks, flows], self.figures.before[:, :slots]
        older = rows < 0
        if older.all():
            return before[flows]
        frames = self.figures.frames.at(rows, slots)
        if older.any():
            frames[older] = before[flows[older]]
        return frames

    def group_of(self, flow: int) -> str:
        """Destination address of a flow."""
        return address_text(int(self.network.streams.dst[flow]))

    # ---- names ----

    def source(self, flow: int) -> str:
        """The subject of a flow's source."""
        return f"source:{self.network.source_id(flow)}"

    def who(self, flow: int) -> str:
        """The best name of a flow's source."""
        if flow not in self._who:
            self._who[flow] = who(self.network, flow)
        return self._who[flow]


def who(network: Network, flow: int) -> str:
    """The best name of a flow's source: its source name, its box's name, its address."""
    streams = network.streams
    name = network.flow_name(flow)
    if name:
        return name
    box = network.box_name(int(streams.segment[flow]), int(streams.mac[flow]))
    address = address_text(int(streams.src[flow]))
    return address if ":" in box and address else box


def who_is(network: Network, segment: int, mac: int) -> str:
    """The best name of a box: that of its light, its own word, its first address, its MAC."""
    flows = network.streams.of_sender(segment, mac)
    if flows:
        return who(network, flows[0])
    name, box = network.box_name(segment, mac), network.claims.boxes.get((segment, mac))
    return address_text(box.uses[0]) if name == mac_text(mac) and box is not None and box.uses else name


def protocol_name(protocol: int) -> str:
    """'e131' or 'artnet'."""
    return "e131" if protocol == E131 else "artnet"
