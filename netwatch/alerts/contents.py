"""Rules about what packets of light say: S5 synchronization, S11 malformed, S12 priority by slot, S13 identities, S14 lists."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.hearing import of_group
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, SEVERITIES, Finding, Rule
from netwatch.alerts.scene import protocol_name, who
from netwatch.decode.tables import E131, Fault
from netwatch.decode.text import address_text, mac_text
from netwatch.network.faults import Sender, Tally
from netwatch.network.network import Network
from netwatch.network.streams import PREVIEW, TERMINATED
from netwatch.network.syncs import Sync, SyncKey

_EVERYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"}
_FORCE = 0x20
"""Force_Synchronization: 1 = go on without synchronization (E1.31-2018 6.2.6)."""

_YOUNG = 10 * NS
"""A fault that began so short a time ago is counted second by second. Common practice, no source."""


def lively(network: Network, now: int) -> npt.NDArray[np.int64]:
    """Established sACN flows that run now."""
    streams, size = network.streams, network.streams.table.size
    on = streams.table.settled[:size] & streams.table.used[:size] & (streams.protocol[:size] == E131)
    on &= (now - streams.last[:size] <= streams.silence[:size]) & (streams.options[:size] & TERMINATED == 0)
    return np.flatnonzero(on)


def universes_of(network: Network, flows: Iterable[int]) -> list[int]:
    return sorted({int(network.streams.universe[flow]) for flow in flows})


def newest(network: Network, flows: Iterable[int]) -> tuple[int, ...]:
    return tuple(sorted({int(network.streams.last_n[flow]) for flow in flows})[-3:])


class SyncLost:
    """S5: light that waits for synchronization gets none, or from two sources."""

    rule = Rule("sync-lost", certainty=_EVERYWHERE | {"wifi": "likely"}, numbers=("sync_lost_s", "sync_wait_s", "membership_s"))

    def look(self, network: Network, now: int) -> Looked:
        looked, streams = Looked(wake=next_grid(now)), network.streams
        waiting: dict[tuple[int, int], list[int]] = {}
        flows = lively(network, now)
        for flow in flows[streams.sync[flows] != 0].tolist():
            waiting.setdefault((int(streams.segment[flow]), int(streams.sync[flow])), []).append(flow)
        for (segment, address), mine in waiting.items():
            finding = self._judge(network, now, looked, segment, address, mine)
            if finding is not None:
                looked.findings.append(finding)
        return looked

    def _judge(self, network: Network, now: int, looked: Looked, segment: int, address: int, flows: list[int]) -> Finding | None:
        numbers, syncs = network.numbers, network.syncs.of(segment, address)
        patience = int(numbers.sync_lost_s * NS)
        active = [each for each in syncs if now - each[1].last <= patience]
        if len(active) > 1:
            looked.later(min(sync.last for _, sync in active) + patience + 1, now)
            return self._finding(network, segment, address, flows, "two", "quality", "certain", active)
        if active:
            looked.later(active[0][1].last + patience + 1, now)
            return None
        proven, matters = hears(network, now, segment, f"239.255.{address >> 8}.{address & 255}")
        if syncs:
            last = max(max(sync.last for _, sync in syncs), network.hole_end)
            looked.later(max(last, now) + patience, now)
            if now - last <= patience or not matters:
                return None
            holds = any(not network.streams.options[flow] & _FORCE for flow in flows)
            severity = ("now" if proven else "quality") if holds else "tidy"
            return self._finding(
                network, segment, address, flows, "lost", severity, "certain" if proven else "hint", syncs, holds
            )
        since = max(min(int(network.streams.first[flow]) for flow in flows), network.hole_end)
        looked.later(since + int(numbers.sync_wait_s * NS), now)
        if now - since < numbers.sync_wait_s * NS or not proven:
            return None
        return self._finding(network, segment, address, flows, "never", "tidy", "certain", [])

    def _finding(self, network: Network, segment: int, address: int, flows: list[int], what: str, severity: str, certainty: str,
                 syncs: list[tuple[SyncKey, Sync]], holds: bool | None = None) -> Finding:  # fmt: skip
        numbers = [sync.last_n for _, sync in syncs][-3:]
        since = max((sync.last for _, sync in syncs), default=min(int(network.streams.first[flow]) for flow in flows))
        if what == "two":
            since = max(sync.run for _, sync in syncs)
        return Finding(
            segment, f"universe:{address}", severity, certainty, since,
            {"what": what, "sync": address, "universes": universes_of(network, flows), "protocol": "e131", "holds": holds,
             "masters": list(dict.fromkeys(_sync_name(network, key, sync) for key, sync in syncs))},
            tuple(sorted({*numbers, *newest(network, flows)}))[:8],
        )  # fmt: skip


def _sync_name(network: Network, key: SyncKey, sync: Sync) -> str:
    """Synchronization packets carry no source name (E1.31-2018 table 4-2)."""
    streams, size = network.streams, network.streams.table.size
    same = np.flatnonzero(streams.table.used[:size] & (streams.id_hi[:size] == key.id_hi) & (streams.id_lo[:size] == key.id_lo))
    if len(same):
        return who(network, int(same[0]))
    return network.box_name(key.segment, sync.mac) if sync.mac else address_text(sync.src)


def hears(network: Network, now: int, segment: int, address: str) -> tuple[bool, bool]:
    """(this port proves to get a group now, its silence matters here)."""
    since, until, _, matters = of_group(network, segment, address)
    if since <= now <= until:
        return True, matters
    streams, flows = network.streams, lively(network, now)
    here = flows[streams.segment[flows] == segment].tolist()
    return any(address_text(int(streams.dst[flow])) == address for flow in here), matters


_FAULT_SEVERITY = {
    Fault.LENGTHS: "quality", Fault.PRIORITY_RANGE: "quality", Fault.NAME_UNENDED: "note", Fault.ODD_LENGTH: "note",
    Fault.PORT_ADDRESS_BIT: "quality",
}  # fmt: skip
"""What no receiver minds, and only the maker can mend, is a note."""


@dataclass(slots=True)
class _Box:
    """What is wrong with the frames of one box."""

    protocol: int
    who: str
    severity: str = "note"
    certainty: str = "certain"
    faults: dict[str, int] | None = None
    universes: set[int] | None = None
    since: int = 0
    numbers: tuple[int, ...] = ()


class MalformedFrames:
    """S11: frames that break a rule of the standard; universes of 510 slots as a note."""

    rule = Rule(
        "malformed-frames",
        until=20 * NS,
        certainty=_EVERYWHERE,
        numbers=("malformed_least", "malformed_within_s", "pixel_slots"),
    )

    def ground(self, network: Network) -> int:
        """Faults that are new."""
        return network.streams.faults.kinds

    def look(self, network: Network, now: int) -> Looked:
        looked, boxes = Looked(wake=next_grid(now)), dict[tuple[int, str], _Box]()
        for (sender, fault), tally in network.streams.faults.discarded.items():
            self._look_soon(looked, tally, now)
            if self._goes_on(network, tally, now):
                lively_rate = tally.count >= 10 and tally.count * NS * 2 >= tally.last - tally.first
                self._add(boxes, _place(network, sender), sender.protocol, fault, tally, "now" if lively_rate else "quality")
        for flow, tallies in sorted(network.streams.faults.flows.items()):
            for fault, tally in tallies.items():
                self._look_soon(looked, tally, now)
                if self._goes_on(network, tally, now):
                    box = self._add(boxes, _flow_place(network, flow), int(network.streams.protocol[flow]), fault, tally,
                                    _FAULT_SEVERITY[Fault(fault)])  # fmt: skip
                    box.universes = (box.universes or set()) | {int(network.streams.universe[flow])}
        self._add_pixels(network, now, boxes)
        for (segment, subject), box in boxes.items():
            looked.findings.append(Finding(
                segment, subject, box.severity, box.certainty, box.since,
                {"who": box.who, "universes": sorted(box.universes or ()), "protocol": protocol_name(box.protocol),
                 "faults": sorted(box.faults or ()), "frames": sum((box.faults or {}).values()), "pixels": box.faults is None},
                tuple(sorted(set(box.numbers)))[:8],
            ))  # fmt: skip
        return looked

    @staticmethod
    def _look_soon(looked: Looked, tally: Tally, now: int) -> None:
        """What began just now may be more by the next second."""
        if now - tally.first < _YOUNG:
            looked.later(now + NS, now)

    def _goes_on(self, network: Network, tally: Tally, now: int) -> bool:
        numbers = network.numbers
        return tally.count >= numbers.malformed_least and now - tally.last < numbers.malformed_within_s * NS

    def _add(self, boxes: dict[tuple[int, str], _Box], place: tuple[int, str, str], protocol: int, fault: int, tally: Tally,
             severity: str) -> _Box:  # fmt: skip
        segment, subject, who_it_is = place
        box = boxes.setdefault((segment, subject), _Box(protocol, who_it_is, since=tally.first))
        name = Fault(fault).name.lower().replace("_", "-")
        box.faults = {**(box.faults or {}), name: (box.faults or {}).get(name, 0) + tally.count}
        box.severity = max(box.severity, severity, key=SEVERITIES.index)
        box.since, box.numbers = min(box.since, tally.first), (*box.numbers, *tally.numbers)
        return box

    def _add_pixels(self, network: Network, now: int, boxes: dict[tuple[int, str], _Box]) -> None:
        flows, streams = lively(network, now), network.streams
        by_box: dict[tuple[int, str, str], list[int]] = {}
        for flow in flows[streams.slots[flows] == network.numbers.pixel_slots].tolist():
            by_box.setdefault(_flow_place(network, flow), []).append(flow)
        for (segment, subject, name), mine in by_box.items():
            universes = set(universes_of(network, mine))
            if any(number + 1 in universes for number in universes) and (segment, subject) not in boxes:
                since = min(int(streams.first[flow]) for flow in mine)
                boxes[segment, subject] = _Box(E131, name, "note", "hint", None, universes, since, newest(network, mine))


def _place(network: Network, sender: Sender) -> tuple[int, str, str]:
    """(segment, subject, name) of who sent frames that must be discarded."""
    address = address_text(sender.src)
    if not sender.mac:
        return sender.segment, f"address:{address}", address
    name = network.box_name(sender.segment, sender.mac)
    return sender.segment, f"host:{mac_text(sender.mac)}", address if ":" in name and address else name


def _flow_place(network: Network, flow: int) -> tuple[int, str, str]:
    streams = network.streams
    place = _place(network, Sender(int(streams.segment[flow]), int(streams.mac[flow]), int(streams.src[flow]), 0))
    return place[0], place[1], who(network, flow)


class SlotPriorityMixed:
    """S12: a source sends a priority for each DMX channel (START code 0xDD). A note, unless another on its universe does not."""

    rule = Rule("slot-priority-mixed", steady=True, until=20 * NS, certainty=_EVERYWHERE)

    def look(self, network: Network, now: int) -> Looked:
        looked, streams = Looked(wake=next_grid(now)), network.streams
        slotwise = streams.slotwise.flows
        if not slotwise:
            return looked
        flows = [flow for flow in lively(network, now).tolist() if not streams.options[flow] & PREVIEW]
        plain = {(int(streams.segment[flow]), int(streams.universe[flow])): flow for flow in flows if flow not in slotwise}
        sources: dict[tuple[int, int, int], list[int]] = {}
        for flow in (flow for flow in flows if flow in slotwise):
            sources.setdefault((int(streams.segment[flow]), int(streams.id_hi[flow]), int(streams.id_lo[flow])), []).append(flow)
        for mine in sources.values():
            others = [
                plain[place] for flow in mine if (place := (int(streams.segment[flow]), int(streams.universe[flow]))) in plain
            ]
            others = [flow for flow in others if streams.stream[flow] not in streams.stream[mine]]
            looked.findings.append(Finding(
                int(streams.segment[mine[0]]), f"source:{network.source_id(mine[0])}", "tidy" if others else "note",
                "hint" if others else "certain", min(int(streams.first[flow]) for flow in mine),
                {"who": who(network, mine[0]), "universes": universes_of(network, mine), "protocol": "e131",
                 "mixed": universes_of(network, others), "others": list(dict.fromkeys(who(network, flow) for flow in others))},
                tuple(sorted(slotwise[flow].last_n for flow in mine)[-3:]),
            ))  # fmt: skip
        return looked


CONTENT_RULES = (MalformedFrames(), SlotPriorityMixed(), SyncLost())
