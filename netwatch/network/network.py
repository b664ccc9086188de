"""The model: all that is known of the network, fed with decoded batches tick by tick. It knows nothing of right and wrong.

Order inside a stretch (contracts 5): admit new keys by n, fold columns, fold records by n, then the tick's end. In the
middle two steps no table reads another, so it does not matter where a batch was cut.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import E131, MULTICAST, Decoded
from netwatch.decode.text import address_text, clean, mac_text
from netwatch.network import admission, asked, by_record, reach, switching, watching
from netwatch.network.announced import Listing
from netwatch.network.arp_words import ArpWords
from netwatch.network.capped import Capped
from netwatch.network.cells import Cells
from netwatch.network.changes import Change, Changes
from netwatch.network.circles import Circles
from netwatch.network.claims import Claims
from netwatch.network.clock import LONG_AGO, NS, TICK, grid, ticks_of
from netwatch.network.figures import NOBODY, Figures, Others, Return, Rows, speaker
from netwatch.network.floods import without
from netwatch.network.habits import Habits
from netwatch.network.history import History
from netwatch.network.laptop import LaptopFacts
from netwatch.network.leases import Client, Decline, Leases, Server
from netwatch.network.links import Links
from netwatch.network.load import Load
from netwatch.network.multicast import Group, Multicast, Queries
from netwatch.network.neighbours import Neighbours
from netwatch.network.nodes import Nodes
from netwatch.network.parts import Part, Parts
from netwatch.network.pollers import Pollers
from netwatch.network.prepared import Prepared, place_of, prepare
from netwatch.network.presence import Presence
from netwatch.network.reading import Heard, Reading
from netwatch.network.starts import Starts
from netwatch.network.streams import Streams
from netwatch.network.switched_off import Off
from netwatch.network.syncs import Syncs
from netwatch.network.vantage import Vantage
from netwatch.numbers import Numbers
from netwatch.packets.batch import Mark, PacketBatch, Port

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]

OTHERS = 0xFFFFFFFF
"""The segment of whatever exceeds the table of segments."""


class Network:
    """State at the newest fold."""

    leases = Part[Leases]()
    answers = Part[Capped[tuple[int, str], Server]]()
    """The servers of ``leases``, for those who look at nothing but what they answered."""
    declines = Part[Capped[tuple[int, str], list[Decline]]]()
    """Those of ``leases``."""
    waiting = Part[dict[tuple[int, str], Client]]()
    """Those of ``leases``."""
    multicast = Part[Multicast]()
    queries = Part[Queries]()
    """Of ``multicast`` what reports do not change."""
    parted = Part[dict[tuple[int, str], Group]]()
    """Of ``multicast`` the groups that somebody left."""
    pollers = Part[Pollers]()
    nodes = Part[Nodes]()
    announced = Part[Capped[tuple[int, str], Listing]]()
    """By (segment, CID)."""
    starts = Part[Starts]()

    def __init__(self, numbers: Numbers, vantage: str | None = None) -> None:
        self.numbers = numbers
        self.parts = Parts()
        self.ports: tuple[Port, ...] = ()
        self.segments: dict[int, int] = {}
        """Segment code to packet number of its first sight."""
        self.segments_refused = 0
        self.streams = Streams(numbers)
        self.changes = Changes()
        self.claims = Claims(numbers, self.changes)
        self.presence = Presence()
        self._habits = Habits(numbers)
        self.expected: object | None = None
        """What the rules compare with; the model itself never looks at it."""
        self.off: dict[int, Off] = {}
        """Segments whose rig was switched off, as the rules told."""
        self.named: Callable[[str, Sequence[int]], str] | None = None
        """What somebody calls the box of a MAC and its addresses, '' = nothing."""
        self.history: History | None = None
        """Of the universe that is looked at."""
        self.leases = leases = Leases(numbers)
        self.answers, self.declines, self.waiting = leases.servers, leases.declines, leases.waiting
        self.multicast = self.queries = multicast = Multicast(numbers)
        self.parted = multicast.parted
        self.light: tuple[int, dict[tuple[int, str], list[int]]] = -1, {}
        """A revision of the model, and its established flows of light by (segment, group)."""
        self.syncs = Syncs(numbers)
        self.pollers = Pollers(numbers)
        self.nodes = Nodes(numbers)
        self.neighbours = Neighbours(numbers)
        self._arp_words = ArpWords(numbers)
        self.vantage = Vantage(numbers, vantage)
        self.load = Load()
        """Its full bucket; its sums up to the newest batch."""
        self._behind: tuple[Prepared, int, int] | None = None
        """Rows of the newest batch that those three did not take yet: they are not read at each tick."""
        self.circles = Circles(numbers)
        self.links = Links()
        self.starts = Starts(numbers)
        self.cells = Cells(int(numbers.roam_pause_s * NS), int(numbers.roam_near_s * NS))
        self.undecoded: Counter[str] = Counter()
        """By the batch's tables."""
        self.unread: Counter[str] = Counter()
        """Records, by reason."""
        self.broken: Counter[int] = Counter()
        self.reading = Reading(numbers)
        self.announced = Capped("announcers", int(numbers.cap_announcers))
        self.begun: int | None = None
        """ns of the first item, mark or packet."""
        self.proven: list[Return] = []
        """Returns of the newest minute that a query or a request brought about."""
        self.questions: list[asked.Question] = []
        """What this laptop asked on request, the newest 64."""
        self.packets = 0
        self.octets = 0
        """Up to the newest batch."""
        self.first: int | None = None
        self.hole_end = LONG_AGO
        """Silences are counted from here at the earliest."""
        self.revision = 0
        """Rises with every change of a slow table."""

    # ---- a batch ----

    def prepare(self, batch: PacketBatch, decoded: Decoded, time: I64) -> Prepared:
        """Look all keys up, and find the ticks with news. Segments beyond the cap become one."""
        if decoded.kinds is None or not set(decoded.kinds.frames.segment.tolist()) <= self.segments.keys():
            segment = self._segments(batch, decoded.frames.segment)
            if segment is not decoded.frames.segment:
                decoded = replace(decoded, frames=replace(decoded.frames, segment=segment), kinds=None)
        tick = ticks_of(time)
        out, alone = self.circles.floods.look(batch, decoded, time, tick)
        it = prepare(self, batch, decoded if out is None else without(decoded, out), time, tick, out)
        it.slow |= alone | self.circles.look_for_ours(batch, decoded, it.tick)
        it.tagged = self.links.tagged(it.decoded)
        it.slow |= self.links.alone(batch, it.decoded, it.tagged, it.tick, self.vantage.ports)
        return it

    def _segments(self, batch: PacketBatch, segment: npt.NDArray[np.uint32]) -> npt.NDArray[np.uint32]:
        if len(segment) and (segment == segment[0]).all() and int(segment[0]) in self.segments:
            return segment
        codes, at = np.unique(segment, return_index=True)
        for code, row in sorted(zip(codes.tolist(), at.tolist(), strict=True), key=lambda pair: pair[1]):
            if code in self.segments:
                continue
            if len(self.segments) < self.numbers.cap_segments:
                self.segments[code] = batch.first + row
            else:
                self.segments_refused += int(np.count_nonzero(segment == code))
                segment = np.where(segment == code, np.uint32(OTHERS), segment)
        return segment

    # ---- a stretch ----

    def fold(self, it: Prepared | None, tick: int, ticks: int, lo: int, hi: int) -> Figures:
        """Fold rows lo..hi of a batch, which belong to ``ticks`` ticks from ``tick`` on; no batch = time passes."""
        now = (np.arange(tick + 1, tick + ticks + 1)) * TICK
        if it is None or lo == hi:
            none = np.zeros(0, np.int64)
            return self.streams.fold(None, None, Rows(none, none, none, none, none), NOBODY, tick, ticks, now)
        batch = it.batch
        self.packets += hi - lo
        self.first = int(it.time[lo]) if self.first is None else self.first
        self.begun = self.first if self.begun is None else self.begun
        self.ports = batch.ports
        found: Sequence[Heard] = ()
        if tick in it.slow:
            found = self.reading.read(it, lo, hi)
            if tick in it.meets:
                admission.know_ports(self, it, lo, hi)
            admission.admit(self, it, lo, hi, found)
            if tick in it.names:
                admission.rename(self, it, lo, hi)
        figures = self._fold_streams(it, tick, ticks, lo, hi, now)
        if self.history is not None:
            self.history.fold(it, lo, hi)
        self.cells.fold(it, lo, hi)
        self._fold_claims(it, lo, hi)
        self._fold_rare_light(it, lo, hi)
        self.revision += self.links.fold(batch, it.decoded, it.tagged, it.time, lo, hi, self.vantage.ports)
        if tick in it.probes:
            self.revision += self.starts.fold(it.decoded, it.time, batch.first, lo, hi)
        if found:
            by_record.fold(self, found)
        self.revision += self.circles.waits(tick + ticks - 1, self.streams)
        self._behind = it, lo if self._behind is None else self._behind[1], hi
        if hi == batch.rows:
            self._catch_up()
        return figures

    def _catch_up(self) -> None:
        """Fold what waits, in one go."""
        if self._behind is None:
            return
        (it, lo, hi), self._behind = self._behind, None
        self.octets += int(it.batch.wirelen[lo:hi].sum())
        self.load.fold(it.decoded, it.batch.wirelen, lo, hi)
        self._habits.fold(it.habits, it.time, it.tick, it.batch.first, lo, hi)
        self._arp_words.fold(it.decoded, it.time, it.tick, it.batch.first, lo, hi)

    @property
    def raw(self) -> dict[int, bytes]:
        """Newest records as they were captured, by packet number, up to the newest batch."""
        return self.reading.raw

    @property
    def habits(self) -> Habits:
        """Up to the row that was folded last; so is the next."""
        self._catch_up()
        return self._habits

    @property
    def arp_words(self) -> ArpWords:
        self._catch_up()
        return self._arp_words

    def of_source(self, what: str, flow: int, at: int, n: int) -> Change:
        """A change of a source on its universe."""
        streams = self.streams
        return Change(
            at, what, int(streams.segment[flow]), n, int(streams.mac[flow]), address_text(int(streams.src[flow])),
            name=self.flow_name(flow), universe=int(streams.universe[flow]), protocol=int(streams.protocol[flow]),
        )  # fmt: skip

    def _fold_streams(self, it: Prepared, tick: int, ticks: int, lo: int, hi: int, now: I64) -> Figures:
        frames, part = it.decoded.frames, it.flows.between(lo, hi)
        alone = it.alone(self.streams, tick, lo, hi) if ticks == 1 and part.start < part.stop else None
        if alone is not None:
            figures = self.streams.fold_alone(alone, tick, now)
            self.revision += bool(self.streams.established)
            return figures
        if part == slice(lo, hi) and int(it.flows.id[part].min()) >= 0:  # nothing but light of known flows
            n = np.arange(it.batch.first + lo, it.batch.first + hi)
            rows, others = Rows(it.flows.id[part], it.tick[part] - tick, it.time[part], n, np.arange(lo, hi)), NOBODY
        else:
            index = np.flatnonzero(it.flows.id[part] >= 0) + part.start
            row = it.flows.row[index]
            rows = Rows(it.flows.id[index], it.tick[row] - tick, it.time[row], it.batch.first + row, index)
            dark = np.ones(hi - lo, bool)
            dark[it.flows.row[part] - lo] = False
            other = np.flatnonzero(dark) + lo
            speakers = speaker(frames.mac[other], frames.src[other].astype(np.uint64))
            others = Others(it.tick[other] - tick, it.time[other], speakers, frames.segment[other].astype(np.uint64))
        figures = self.streams.fold(it.batch, it.decoded, rows, others, tick, ticks, now)
        # Where a batch ends in a tick with one of these, the next stretch ends with that tick.
        self.revision += bool(self.streams.returns) + bool(self.streams.established)
        return figures

    def _fold_rare_light(self, it: Prepared, lo: int, hi: int) -> None:
        """Frames that receivers must discard, and synchronization."""
        decoded, streams = it.decoded, self.streams
        if len(decoded.broken.row):
            self.revision += streams.faults.discard(decoded, lo, hi, it.time, it.batch.first)
        if len(decoded.syncs.row):
            self.revision += self.syncs.fold(decoded, lo, hi, it.time, it.batch.first)
        self.revision += streams.slotwise.news_since()

    def _fold_claims(self, it: Prepared, lo: int, hi: int) -> None:
        part = it.claims.between(lo, hi)
        claim, told = it.claims.id[part], [column[part] for column in it.claimed]
        if self.claims.contested:
            light = it.flows.row[it.flows.between(lo, hi)]
            light = light[self.claims.is_contested(place_of(it.decoded.frames, light), it.batch.first + light)]
            row = np.concatenate([it.claims.row[part], light])
            claim = np.concatenate([claim, self.claims.table.find(admission.light_claims(it, light))])
            order = np.argsort(row, kind="stable")
            row, claim = row[order], claim[order]
            told = [it.time[row], it.batch.first + row, it.tick[row]]
        if len(claim):
            self.revision += self.claims.touch(claim, *told)

    def _claims_of(self, flows: I64) -> tuple[U64, U64]:
        """The claims that flows make."""
        streams = self.streams
        place = (streams.segment[flows].astype(np.uint64) << np.uint64(32)) | streams.src[flows].astype(np.uint64)
        return streams.mac[flows].astype(np.uint64) << np.uint64(16), place

    def revision_of(self, parts: Collection[str]) -> int:
        """Rises with every change but those that records made in other parts than these alone."""
        return self.revision - self.parts.records + self.parts.changes_of(parts)

    # ---- tick end, marks ----

    def before_rules(self, tick: int, now: int) -> None:
        """What is settled with a tick before the rules look: buckets, where we listen, why streams came back."""
        if self.streams.established:  # not earlier: the claim that light speaks for may come later in the tick
            self.claims.vouch(*self._claims_of(np.array(self.streams.established)), tick)
            self.streams.established.clear()
            self.revision += 1
        if grid(tick):
            self.streams.close_bucket()
            size = self.streams.table.size
            self.nodes.close_bucket(self.streams.packets[:size], self.streams.repeated[:size])
            self._catch_up()
            self.load.close_bucket()
            light = np.flatnonzero(self.streams.table.used[: self.streams.table.size])
            self.presence.close_bucket(self.claims, self._claims_of(light), self.streams.last[light])
            self.habits.close_bucket()
        self.revision += self.circles.close(tick, self.streams)
        self.starts.settle()
        if self.vantage.judge(now, self.multicast.v2_reporters):
            self.revision += 1
        for back in sorted(self.streams.returns, key=lambda each: each.n):  # by arrival, however the tick was cut
            self.revision += 1
            if back.tick <= tick:
                self.changes.note(self.of_source("source-back", back.flow, back.back, back.n))
            switching.returned(self, back)
            if self.why_back(back) is not None:
                self.proven = [each for each in self.proven if back.back - each.back < 60 * NS]
                self.proven.append(back)

    def why_back(self, back: Return) -> int | None:
        """Packet number of the query or request that brought a stream back; None when nothing did.

        Nor did it where a hole made the silence, or where the switch passed the group on when it began: its sender was silent.
        """
        streams, silence = self.streams, int(self.streams.silence[back.flow])
        segment, group = int(streams.segment[back.flow]), address_text(int(streams.dst[back.flow]))
        before = max(back.before, self.hole_end)
        if streams.cast[back.flow] != MULTICAST or back.back - before <= silence:
            return None
        if switching.kept_up(self, segment, group, before, silence):
            return None
        return self.multicast.revived(segment, group, before, back.back, {mac_text(mac) for mac in self.own(segment)})

    def refresh(self, it: Prepared, lo: int) -> None:
        """Ids were freed: rows from ``lo`` on that had them hold news."""
        for keyed in it.keyed:
            ticks = np.unique(it.tick[keyed.forget(lo)]).tolist()
            it.slow.update(ticks)
            it.names.update(ticks if keyed is it.flows else ())

    def tick_end(self, tick: int) -> bool:
        """Close what ends with this tick; True when ids were freed, so that prepared ids are stale."""
        now = (tick + 1) * TICK
        self.streams.returns = [each for each in self.streams.returns if each.tick > tick]
        if grid(tick) or now >= (self.multicast.look_at or now + 1):
            self.revision += switching.watch(self, now)
        if grid(tick):
            # Not before the rules look: they judge all ticks of the stretch that ends here by it.
            self.streams.slotwise.expire(now - int(self.numbers.source_silent_s * NS))
            self.revision += self.streams.slotwise.news_since()
            watching.queriers(self, now)
            if self.claims.table.held > self.claims.table.cap // 2:
                size = self.streams.table.size
                self.claims.vouch(*self._claims_of(np.flatnonzero(self.streams.table.settled[:size])), tick)
        self.streams.watch_likeness()
        freed = self.streams.evict(tick, now)
        if freed:
            self.nodes.forget(np.flatnonzero(~self.streams.table.used[: self.streams.table.size]))
        freed |= self.claims.evict(tick, now)
        stale = self.vantage.pairs.overdue(tick)
        if len(stale):
            self.vantage.pairs.free(stale, now)
            freed = True
        self.leases.evict(now)
        self.multicast.evict(now)
        self.starts.evict(now)
        self.pollers.evict(now)
        self.nodes.evict(now)
        self.neighbours.evict(now)
        if grid(tick):
            self.arp_words.evict(tick, now)
            self.habits.evict(tick, now)
        self.announced.evict(now)
        self.syncs.table.evict(now)
        self.streams.faults.discarded.evict(now)
        if freed:
            self.revision += 1
        return freed

    def mark(self, mark: Mark, time: int) -> None:
        """Counters and what the laptop says of itself."""
        self.ports = mark.ports
        self.begun = time if self.begun is None else self.begun
        self.vantage.know(mark.port, mark.ports[mark.port], time)
        state = self.vantage.port(mark.port)
        state.received = mark.received
        state.counts |= mark.dropped is not None
        if mark.dropped is not None and mark.dropped > state.dropped:
            state.drops.append((time, mark.dropped - state.dropped))
            del state.drops[:-64]
            state.dropped = mark.dropped
        if mark.facts is not None and "link" in mark.facts:
            before = state.link
            self.vantage.tell(mark.port, LaptopFacts.read(mark.facts), time)
            self.cells.tell(mark.port, state.laptop.cell, time)
            if before and state.link != before:
                self.links.link(mark.port, before, state.link, time)
                self.changes.note(Change(time, "link", mark.port << 24, before=before, name=state.link))
        reach.follow(self, mark.port, time)
        watching.acts(self, switching.noted(self, mark, time))
        question = asked.read(mark.facts.get("asked"), mark.port << 24, time) if mark.facts else None
        if question is not None:
            self.questions = [*self.questions, question][-asked.MOST :]
        self.revision += 1

    def interface(self, segment: int) -> str:
        """Name of the port that a segment was heard on."""
        port = segment >> 24
        return self.ports[port].name if port < len(self.ports) else "others"

    def place(self, segment: int) -> str:
        """Interface and VLAN of a segment."""
        return place(self.interface(segment), vlan(segment))

    def where(self, segment: int) -> str:
        """Vantage of a segment's port."""
        state = self.vantage.ports.get(segment >> 24)
        return "unknown" if state is None else state.vantage

    def own(self, segment: int) -> set[int]:
        """Our MACs on the port of a segment, or the best guess."""
        return self.vantage.guess(segment >> 24, self.multicast.v2_reporters.get(segment, set()))

    @property
    def located(self) -> bool:
        """Is any MAC ours, or our best guess?"""
        alone = any(len(reporters) == 1 for reporters in self.queries.v2_reporters.values())
        return alone or any(state.own for state in self.vantage.ports.values())

    def wanted(self, segment: int, address: str, own: set[int]) -> str:
        """Did this laptop ask for a group: wanted, perhaps, not wanted or unknown (contracts 6)? Its system knows if it tells."""
        port = self.vantage.ports.get(segment >> 24)
        if port is not None and address in port.laptop.joined and not segment & 0xFFFFFF:
            return "wanted"
        group = self.multicast.groups.get((segment, address))
        members = {} if group is None else {mac: each for mac, each in group.members.items() if each.left is None}
        if own:
            return "wanted" if any(mac_text(mac) in members for mac in own) else "not wanted"
        return "perhaps" if members else "unknown"

    def source_id(self, flow: int) -> str:
        """A flow's source: the CID as 32 hex digits, or address/Physical."""
        streams = self.streams
        if streams.protocol[flow] == E131:
            return f"{int(streams.id_hi[flow]):016x}{int(streams.id_lo[flow]):016x}"
        return f"{address_text(int(streams.src[flow]))}/{int(streams.id_lo[flow])}"

    def flow_name(self, flow: int) -> str:
        """The E1.31 source name of a flow, '' without."""
        raw = self.streams.names.get(flow)
        return clean(raw) if raw else ""

    def box_name(self, segment: int, mac: int) -> str:
        """The best name of a box: the one that people gave it, its own word, its MAC."""
        box = self.claims.boxes.get((segment, mac))
        if self.named is not None:
            own = [] if box is None else [each for each in box.uses if (segment, each) not in self.claims.contested]
            given = self.named(mac_text(mac), own)
            if given:
                return given
        names = {} if box is None else box.names
        for origin in ("sACN", "Art-Net", "DHCP", "LLDP"):
            if names.get(origin):
                return names[origin]
        return mac_text(mac)


def vlan(segment: int) -> int | None:
    """The VLAN of a segment: outer VID, None without a tag."""
    return (segment >> 12 & 0xFFF) or None


def place(interface: str, vlan: int | None) -> str:
    """'eth0', 'eth0 VLAN 12'."""
    return interface if vlan is None else f"{interface} VLAN {vlan}"


def seconds(ns: int) -> float:
    """ns to s."""
    return ns / NS


