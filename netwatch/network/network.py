"""The model: all that is known of the network, fed with decoded batches tick by tick. It knows nothing of right and wrong.

Order inside a stretch (contracts 5): admit new keys by n, fold columns, fold records by n, then the tick's end. In the
middle two steps no table reads another, so it does not matter where a batch was cut.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from netwatch.decode import records
from netwatch.decode.tables import (
    E131, MULTICAST, UNICAST, BrokenRecord, Decoded, Dhcp, Discovery, Igmp, Lldp, PollReply, Record,
)
from netwatch.decode.text import address_text, clean, mac_text
from netwatch.network.capped import Capped
from netwatch.network.claims import Claims
from netwatch.network.clock import NS, TICK
from netwatch.network.leases import Leases
from netwatch.network.load import Load
from netwatch.network.multicast import Multicast
from netwatch.network.streams import BUCKET_TICKS, Figures, Return, Rows, Streams, sender_key
from netwatch.network.vantage import HEARD, Vantage
from netwatch.numbers import Numbers
from netwatch.packets.batch import Mark, PacketBatch, Port

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]

OTHERS = 0xFFFFFFFF
"""The segment of whatever exceeds the table of segments."""


@dataclass(slots=True)
class Prepared:
    """One batch, decoded and looked up, ready to be folded in stretches."""

    batch: PacketBatch
    decoded: Decoded
    time: I64
    """Fold time of each row."""
    tick: I64
    """Tick number of each row."""
    segment: npt.NDArray[np.uint32]
    flow_columns: tuple[U64, ...]
    flow: I64
    """Flow of each level row, -1 = unknown or refused."""
    claim_row: I64
    claim_columns: tuple[U64, U64]
    claim: I64
    pair_row: I64
    pair_columns: tuple[U64, U64]
    pair: I64
    slow: set[int] = field(default_factory=set)
    """Ticks with news: a stretch holds one of them alone."""


class Network:
    """State at the newest fold."""

    def __init__(self, numbers: Numbers, vantage: str | None = None) -> None:
        self.numbers = numbers
        self.ports: tuple[Port, ...] = ()
        self.segments: dict[int, int] = {}
        """Segment code to packet number of its first sight."""
        self.segments_refused = 0
        self.streams = Streams(numbers)
        self.claims = Claims(numbers)
        self.leases = Leases(numbers)
        self.multicast = Multicast(numbers)
        self.vantage = Vantage(numbers, vantage)
        self.load = Load()
        self.undecoded: Counter[str] = Counter()
        self.broken: Counter[int] = Counter()
        self.storm = 0
        """Records that were counted only, because too many came in one tick."""
        self.announced: Capped[tuple[int, str], dict[int, tuple[int, ...]]] = Capped("announcers", int(numbers.cap_announcers))
        """(segment, CID) to universes by page, as universe discovery tells (E1.31-2018 8)."""
        self.begun: int | None = None
        """ns of the first item, mark or packet."""
        self.raw: dict[int, bytes] = {}
        """Newest records as they were captured, by packet number, at most 2,048."""
        self.packets = self.octets = 0
        self.first: int | None = None
        self.hole_end = -(1 << 62)
        """Silences are counted from here at the earliest."""
        self.revision = 0
        """Rises with every change of a slow table."""
        self._tick_records: Counter[tuple[int, int]] = Counter()

    # ---- a batch ----

    def prepare(self, batch: PacketBatch, decoded: Decoded, time: I64) -> Prepared:
        """Look all keys up, and find the ticks with news. Changes nothing."""
        frames = decoded.frames
        segment = self._segments(batch, frames.segment)
        flow_columns = self.streams.columns(decoded)
        claim_row, *claim_columns = self.claims.rows(decoded)
        if self.vantage.settled(len(batch.ports)):
            unicast = np.zeros(0, np.int64)
        else:
            unicast = np.flatnonzero((frames.cast == UNICAST) & (frames.mac != 0) & (frames.to_mac != 0))
        port = batch.port[unicast].astype(np.uint64)
        pair_columns = ((frames.mac[unicast] << np.uint64(16)) | port, frames.to_mac[unicast])
        prepared = Prepared(
            batch, decoded, time, time // TICK, segment, flow_columns, self.streams.table.find(flow_columns),
            claim_row, (claim_columns[0], claim_columns[1]), self.claims.table.find(claim_columns),
            unicast, pair_columns, self.vantage.pairs.find(pair_columns),
        )
        self._find_news(prepared)
        return prepared

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
                self.segments_refused += 1
                segment = np.where(segment == code, np.uint32(OTHERS), segment)
        return segment

    def _find_news(self, it: Prepared) -> None:
        levels = it.decoded.levels
        level_tick = it.tick[levels.row]
        for ids, columns, tick in (
            (it.claim, it.claim_columns, it.tick[it.claim_row]),
            (it.pair, it.pair_columns, it.tick[it.pair_row]),
        ):
            unknown = np.flatnonzero(ids < 0)
            if len(unknown):
                keys = np.stack([column[unknown] for column in columns], axis=1)
                _, first = np.unique(keys, axis=0, return_index=True)
                it.slow.update(tick[unknown[first]].tolist())
        self._find_stream_news(it, level_tick)
        self._find_new_macs(it)
        renamed = (it.flow >= 0) & (levels.name != self.streams.name_print[it.flow])
        it.slow.update(level_tick[renamed].tolist())
        it.slow.update(it.tick[it.decoded.rare.row].tolist())
        contested = self.claims.news(it.claim, it.claim_columns[1])
        it.slow.update(it.tick[it.claim_row[contested]].tolist())
        if self.claims.contested:
            here = self._contested_levels(it)
            it.slow.update(level_tick[here].tolist())

    def _find_stream_news(self, it: Prepared, level_tick: I64) -> None:
        """Flows that are not established yet, and flows that come back after a silence."""
        unsettled = it.flow < 0
        unsettled[~unsettled] = ~self.streams.table.settled[it.flow[~unsettled]]
        it.slow.update(np.unique(level_tick[unsettled]).tolist())
        it.slow.update(self.streams.coming_back(it.flow, it.time[it.decoded.levels.row], level_tick))

    def _find_new_macs(self, it: Prepared) -> None:
        """The first few MACs of a port, and MACs that prove to be our own."""
        mac, port = it.decoded.frames.mac, it.batch.port
        for index in np.unique(port).tolist():
            state = self.vantage.port(index)
            here = port == index
            if state.first is None:
                it.slow.add(int(it.tick[np.argmax(here)]))
            sent = here & (it.batch.direction == 2)
            news = sent & ~np.isin(mac, np.array(sorted(state.own), np.uint64)) if sent.any() else sent
            if len(state.heard) < HEARD:
                news = news | (here & ~np.isin(mac, np.array(sorted(state.heard), np.uint64)))
            if news.any():
                rows = np.flatnonzero(news)
                _, first = np.unique(mac[rows], return_index=True)
                it.slow.update(it.tick[rows[first]].tolist())

    def _contested_levels(self, it: Prepared) -> I64:
        """Level rows whose source address is contested."""
        frames, row = it.decoded.frames, it.decoded.levels.row
        place = (frames.segment[row].astype(np.uint64) << np.uint64(32)) | frames.src[row].astype(np.uint64)
        return np.flatnonzero(self.claims.news(row, place))

    # ---- a stretch ----

    def fold(self, it: Prepared | None, tick: int, ticks: int, lo: int, hi: int) -> Figures:
        """Fold rows lo..hi of a batch, which belong to ``ticks`` ticks from ``tick`` on; no batch = time passes."""
        now = (np.arange(tick + 1, tick + ticks + 1)) * TICK
        empty = np.zeros(0, np.int64)
        if it is None or lo == hi:
            return self.streams.fold(
                None, None, Rows(empty, empty, empty, empty, empty), (empty, empty, empty.astype(np.uint64)), tick, ticks, now
            )
        batch = it.batch
        self.packets += hi - lo
        self.octets += int(batch.wirelen[lo:hi].sum())
        self.first = int(it.time[lo]) if self.first is None else self.first
        self.begun = self.first if self.begun is None else self.begun
        self.load.fold(it.decoded.frames, it.segment, batch.wirelen, lo, hi)
        self.ports = batch.ports
        if tick in it.slow:
            self._know_ports(it, lo, hi)
        self._admit(it, tick, lo, hi, alone=ticks == 1)
        figures = self._fold_streams(it, tick, ticks, lo, hi, now)
        self._fold_claims(it, tick, lo, hi)
        self._fold_records(it, tick, lo, hi)
        return figures

    def _know_ports(self, it: Prepared, lo: int, hi: int) -> None:
        ports, frames = it.batch.port[lo:hi], it.decoded.frames
        for index in np.unique(ports).tolist():
            here = np.flatnonzero(ports == index) + lo
            self.vantage.know(index, self.ports[index], int(it.time[here[0]]))
            self.vantage.hear(index, frames.mac[here], it.time[here])
            sent = here[it.batch.direction[here] == 2]
            if len(sent):
                self.vantage.port(index).own.update(np.unique(frames.mac[sent]).tolist())

    def _admit(self, it: Prepared, tick: int, lo: int, hi: int, *, alone: bool) -> None:
        """New keys by n; only a stretch of one tick can hold any."""
        if not alone or tick not in it.slow:
            return
        levels, frames = it.decoded.levels, it.decoded.frames
        a, b = _between(levels.row, lo, hi)
        for at in (np.flatnonzero(it.flow[a:b] < 0) + a).tolist():
            row = int(levels.row[at])
            held = self.streams.table.held
            it.flow[at] = self.streams.admit(it.batch, it.decoded, it.flow_columns, at, int(it.time[row]))
            if self.streams.table.held != held and frames.mac[row] and frames.src[row]:
                place = (int(frames.segment[row]) << 32) | int(frames.src[row])
                columns = (np.array([int(frames.mac[row]) << 16], np.uint64), np.array([place], np.uint64))
                self.claims.admit(columns, 0, it.batch.first + row, int(it.time[row]))
        c, d = _between(it.claim_row, lo, hi)
        for at in (np.flatnonzero(it.claim[c:d] < 0) + c).tolist():
            row = int(it.claim_row[at])
            it.claim[at] = self.claims.admit(it.claim_columns, at, it.batch.first + row, int(it.time[row]))
        e, f = _between(it.pair_row, lo, hi)
        for at in (np.flatnonzero(it.pair[e:f] < 0) + e).tolist():
            row = int(it.pair_row[at])
            self.vantage.pair(it.pair_columns, at, it.batch.first + row, int(it.time[row]))
        self._rename(it, a, b)
        # Later rows of this batch may hold the same keys.
        it.flow[b:] = np.where(it.flow[b:] < 0, self.streams.table.find([column[b:] for column in it.flow_columns]), it.flow[b:])
        it.claim[d:] = self.claims.table.find([column[d:] for column in it.claim_columns])
        it.pair[f:] = self.vantage.pairs.find([column[f:] for column in it.pair_columns])
        self.revision += 1

    def _rename(self, it: Prepared, a: int, b: int) -> None:
        levels = it.decoded.levels
        known = np.flatnonzero(it.flow[a:b] >= 0) + a
        for at in known[levels.name[known] != self.streams.name_print[it.flow[known]]].tolist():
            self.streams.rename(it.batch, it.decoded, at, int(it.flow[at]))

    def _fold_streams(self, it: Prepared, tick: int, ticks: int, lo: int, hi: int, now: I64) -> Figures:
        levels, frames = it.decoded.levels, it.decoded.frames
        a, b = _between(levels.row, lo, hi)
        index = np.flatnonzero(it.flow[a:b] >= 0) + a
        row = levels.row[index]
        rows = Rows(it.flow[index], it.tick[row] - tick, it.time[row], it.batch.first + row.astype(np.int64), index)
        silent = np.ones(hi - lo, bool)
        silent[levels.row[a:b] - lo] = False
        other = np.flatnonzero(silent) + lo
        key = sender_key(frames.mac[other], frames.segment[other])
        return self.streams.fold(
            it.batch, it.decoded, rows, (it.tick[other] - tick, it.time[other], key), tick, ticks, now
        )

    def _fold_claims(self, it: Prepared, tick: int, lo: int, hi: int) -> None:
        c, d = _between(it.claim_row, lo, hi)
        row, claim = it.claim_row[c:d], it.claim[c:d]
        if self.claims.contested:
            levels, frames = it.decoded.levels, it.decoded.frames
            a, b = _between(levels.row, lo, hi)
            here = self._contested_levels(it)
            here = here[(here >= a) & (here < b)]
            level_row = levels.row[here].astype(np.int64)
            place = (frames.segment[level_row].astype(np.uint64) << np.uint64(32)) | frames.src[level_row].astype(np.uint64)
            found = self.claims.table.find([frames.mac[level_row] << np.uint64(16), place])
            row, claim = np.concatenate([row, level_row]), np.concatenate([claim, found])
            order = np.argsort(row, kind="stable")
            row, claim = row[order], claim[order]
        if len(row):
            self.claims.touch(claim, it.time[row], it.batch.first + row, tick, it.tick[row] - tick)

    def _fold_records(self, it: Prepared, tick: int, lo: int, hi: int) -> None:
        rare = it.decoded.rare
        a, b = _between(rare.row, lo, hi)
        for at in range(a, b):
            row, kind = int(rare.row[at]), int(rare.kind[at])
            mac = int(it.decoded.frames.mac[row])
            self._tick_records[kind, -1] += 1
            self._tick_records[kind, mac] += 1
            if (self._tick_records[kind, -1] > self.numbers.cap_records_tick
                    or self._tick_records[kind, mac] > self.numbers.cap_records_mac):
                self.storm += 1
                continue
            self._record(records.read(it.batch, it.decoded, at), int(it.time[row]))
        if b > a:
            self.revision += 1

    def _record(self, record: Record, time: int) -> None:
        self.raw[record.n] = record.raw
        if len(self.raw) > 2_048:
            del self.raw[next(iter(self.raw))]
        if isinstance(record, BrokenRecord):
            self.undecoded[record.reason] += 1
        elif isinstance(record, Dhcp):
            self.leases.fold(record, time)
            self.vantage.answer(record)
        elif isinstance(record, Igmp):
            self.multicast.fold(record, time)
        elif isinstance(record, Discovery):
            pages = self.announced.touch((record.segment, record.cid), time, dict)
            if pages is not None:
                pages[record.page] = record.universes
                for page in [page for page in pages if page > record.last_page]:
                    del pages[page]
        self._learn_name(record, time)

    def _learn_name(self, record: Record, time: int) -> None:
        mac, names = record.mac, []
        if isinstance(record, Dhcp):
            mac, names = record.chaddr, [("DHCP", record.host_name)]
        elif isinstance(record, PollReply):
            names = [("Art-Net", record.long_name or record.short_name)]
        elif isinstance(record, Lldp):
            names = [("LLDP", record.system_name)]
        elif isinstance(record, Discovery):
            names = [("sACN", record.name)]
        if not mac or not any(name for _, name in names):
            return
        box = self.claims.box(record.segment, int(mac.replace(":", ""), 16), time)
        if box is not None:
            box.names.update((origin, name) for origin, name in names if name)
            if isinstance(record, Dhcp) and record.server and record.op == 1:
                box.server = record.server

    # ---- tick end, marks ----

    def before_rules(self, tick: int, now: int) -> None:
        """What is settled with a tick before the rules look: buckets, where we listen, why streams came back."""
        if grid(tick):
            self.streams.close_bucket()
            self.load.close_bucket()
            self._find_flooding(now)
        if self.vantage.judge(now, self.multicast.v2_reporters):
            self.revision += 1
        for back in self.streams.returns:
            if back.tick <= tick and self.why_back(back) is not None:
                self.multicast.drops_seen[int(self.streams.segment[back.flow])] = back.back

    def _find_flooding(self, now: int) -> None:
        """Groups that nobody here asked for go on arriving: this switch passes everything on."""
        streams, least = self.streams, int(self.numbers.flooded_after_s * NS)
        used = np.flatnonzero(streams.table.settled[: streams.table.size] & (streams.cast[: streams.table.size] == MULTICAST))
        for segment in np.unique(streams.segment[used]).tolist():
            own = self.own(segment)
            if segment in self.multicast.floods or not own or self.where(segment) == "mirror":
                continue
            query = self.multicast.last_query.get(segment)
            for flow in used[streams.segment[used] == segment].tolist():
                begun = max(int(streams.first[flow]), query[0] if query else 0, self.hole_end)
                arrives = now - int(streams.last[flow]) <= int(streams.silence[flow])
                group = address_text(int(streams.dst[flow]))
                if arrives and now - begun >= least and self.wanted(segment, group, own) == "not wanted":
                    self.multicast.floods[segment] = now
                    self.revision += 1
                    break

    def why_back(self, back: Return) -> int | None:
        """Packet number of the query or request that brought a stream back; None when nothing did."""
        streams = self.streams
        if streams.cast[back.flow] != MULTICAST:
            return None
        return self.multicast.revived(
            int(streams.segment[back.flow]), address_text(int(streams.dst[back.flow])), back.before, back.back
        )

    def refresh(self, it: Prepared, lo: int) -> None:
        """Look the keys of rows from ``lo`` on up again: ids were freed."""
        a, _ = _between(it.decoded.levels.row, lo, len(it.tick))
        c, _ = _between(it.claim_row, lo, len(it.tick))
        e, _ = _between(it.pair_row, lo, len(it.tick))
        it.flow[a:] = self.streams.table.find([column[a:] for column in it.flow_columns])
        it.claim[c:] = self.claims.table.find([column[c:] for column in it.claim_columns])
        it.pair[e:] = self.vantage.pairs.find([column[e:] for column in it.pair_columns])
        self._find_news(it)

    def tick_end(self, tick: int) -> bool:
        """Close what ends with this tick; True when ids were freed, so that prepared ids are stale."""
        now = (tick + 1) * TICK
        self._tick_records.clear()
        self.streams.returns = [each for each in self.streams.returns if each.tick > tick]
        freed = self.streams.evict(tick, now)
        freed |= self.claims.evict(tick, now)
        stale = self.vantage.pairs.overdue(tick, 86_400 * 4)
        if len(stale):
            self.vantage.pairs.free(stale, now)
            freed = True
        self.leases.evict(now)
        self.multicast.evict(now)
        self.announced.evict(now)
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
        if mark.dropped is not None and mark.dropped > state.dropped:
            state.drops.append((time, mark.dropped - state.dropped))
            del state.drops[:-64]
            state.dropped = mark.dropped
        if mark.facts is not None and "link" in mark.facts:
            state.link = _link(mark.facts)
        self.revision += 1

    def interface(self, segment: int) -> str:
        """Name of the port that a segment was heard on."""
        port = segment >> 24
        return self.ports[port].name if port < len(self.ports) else "others"

    def where(self, segment: int) -> str:
        """Vantage of a segment's port."""
        state = self.vantage.ports.get(segment >> 24)
        return "unknown" if state is None else state.vantage

    def own(self, segment: int) -> set[int]:
        """Our MACs on the port of a segment, or the best guess."""
        return self.vantage.guess(segment >> 24, self.multicast.v2_reporters.get(segment, set()))

    def wanted(self, segment: int, address: str, own: set[int]) -> str:
        """Did this laptop ask for a group: wanted, perhaps, not wanted or unknown (contracts 6)."""
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
        """The best name of a box: its own word first, then its first address, then its MAC."""
        box = self.claims.boxes.get((segment, mac))
        names = {} if box is None else box.names
        for origin in ("sACN", "Art-Net", "DHCP", "LLDP"):
            if names.get(origin):
                return names[origin]
        return mac_text(mac)


def _link(facts: Mapping[str, Any]) -> str:
    """'up 1000 Mbit/s', 'down' or 'gone', from what the laptop says of an interface."""
    if facts.get("present") is False:
        return "gone"
    if not facts["link"]:
        return "down"
    speed = facts.get("speed")
    return f"up {speed / 1e6:.0f} Mbit/s" if isinstance(speed, int | float) and speed else "up"


def vlan(segment: int) -> int | None:
    """The VLAN of a segment: outer VID, None without a tag."""
    return (segment >> 12 & 0xFFF) or None


def _between(rows: npt.NDArray[np.int32] | I64, lo: int, hi: int) -> tuple[int, int]:
    """Slice of a sorted row column that falls into lo..hi."""
    a, b = np.searchsorted(rows, (lo, hi))
    return int(a), int(b)


def grid(tick: int) -> bool:
    """Does this tick end on the 10 s grid?"""
    return (tick + 1) % BUCKET_TICKS == 0


def seconds(ns: int) -> float:
    """ns to s."""
    return ns / NS


