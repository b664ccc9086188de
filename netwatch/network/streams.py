"""Flows of light: who sends which universe where to, in order, with what loss.

A **flow** is what sequence, rate and silence are measured on: one sender's packets of one universe to one destination.
A **stream** is one source on one universe; it may have several flows (copies to several receivers). State is arrays by
flow id; a stretch of ticks gives ``Figures``, arrays [ticks, flows], so that a rule is one mask over them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import E131, Decoded
from netwatch.network import sequence
from netwatch.network.buckets import COUNTS, Buckets
from netwatch.network.by_tick import STEADY, TickRows
from netwatch.network.clock import LONG_AGO, NS
from netwatch.network.faults import Faults
from netwatch.network.figures import Figures, Others, Return, Rows
from netwatch.network.gaps import Gaps
from netwatch.network.keys import KeyTable, grown
from netwatch.network.missed import Missed
from netwatch.network.order import begins_of, bounds_of, carry, speak_often
from netwatch.network.prints import OFFSETS, Prints, prints_of
from netwatch.network.senders import Senders
from netwatch.network.sequence import Counted
from netwatch.network.slots import NO_SLOTS, SLOTS, SlotRows
from netwatch.network.slotwise import SlotPriorities
from netwatch.network.tail import NONE_AGAIN, Again, Tail
from netwatch.numbers import Numbers
from netwatch.packets.batch import PacketBatch

I64 = npt.NDArray[np.int64]
U8 = npt.NDArray[np.uint8]
Bool = npt.NDArray[np.bool_]

PREVIEW, TERMINATED = 0x80, 0x40
_ARRAYS: dict[str, tuple[type, int]] = {
    # name: (dtype, value of a new flow)
    "segment": (np.int64, 0), "protocol": (np.int64, 0), "universe": (np.int64, 0), "mac": (np.int64, 0),
    "src": (np.int64, 0), "dst": (np.int64, 0), "to_mac": (np.int64, 0), "cast": (np.int64, 0),
    "id_hi": (np.uint64, 0), "id_lo": (np.uint64, 0), "stream": (np.int64, -1), "silence": (np.int64, 0),
    "first": (np.int64, 0), "run": (np.int64, 0), "last": (np.int64, LONG_AGO), "first_n": (np.int64, 0),
    "last_n": (np.int64, 0), "packets": (np.int64, 0), "lost": (np.int64, 0), "late": (np.int64, 0),
    "repeated": (np.int64, 0), "jumps": (np.int64, 0), "sequence": (np.int64, -1), "single_steps": (np.int64, 0),
    "mixed": (np.bool_, 0), "sequence_null": (np.int64, -1), "sequence_other": (np.int64, -1), "lost_split": (np.int64, 0),
    "options": (np.int64, 0), "priority": (np.int64, 0), "sync": (np.int64, 0), "slots": (np.int64, -1),
    "changed": (np.int64, LONG_AGO), "name_print": (np.uint64, 0), "outages": (np.int64, 0), "alive": (np.int64, -1),
    "proven": (np.int64, 0), "gaps": (np.int64, 0), "bursts": (np.int64, 0), "changes": (np.int64, 0), "coded": (np.int64, 0),
    "compared": (np.bool_, 0),
}


class Streams:
    """All flows of light. Public arrays are indexed by flow id and have at least ``table.size`` entries."""

    segment: I64
    protocol: I64
    universe: I64
    mac: I64
    src: I64
    dst: I64
    to_mac: I64
    cast: I64
    id_hi: npt.NDArray[np.uint64]
    id_lo: npt.NDArray[np.uint64]
    stream: I64
    silence: I64
    first: I64
    run: I64
    last: I64
    first_n: I64
    last_n: I64
    packets: I64
    lost: I64
    late: I64
    repeated: I64
    jumps: I64
    sequence: I64
    single_steps: I64
    mixed: Bool
    sequence_null: I64
    sequence_other: I64
    lost_split: I64
    options: I64
    priority: I64
    sync: I64
    slots: I64
    changed: I64
    name_print: npt.NDArray[np.uint64]
    outages: I64
    alive: I64
    proven: I64
    """ns at which it had run without a break for long enough to be part of the rig, in the newest of its ended runs that did."""
    gaps: I64
    """How often something was missing, however much."""
    bursts: I64
    """How often several packets in a row were missing."""
    changes: I64
    """Frames that differ from the one before."""
    coded: I64
    """Packets with a START code other than 0."""
    compared: Bool
    """Another flow may carry the same light."""

    def __init__(self, numbers: Numbers) -> None:
        self.numbers = numbers
        self.table = KeyTable("flows", 5, numbers.cap_flows)
        for name, (dtype, value) in _ARRAYS.items():
            setattr(self, name, np.full(16, value, dtype))
        self.seen = np.zeros((16, sequence.NUMBERS), np.uint32)
        """When each number of a flow was there last, in ms that wrap."""
        self.tail = Tail()
        self.spacing = Gaps()
        self.missed = Missed(numbers)
        self.levels = np.zeros((16, SLOTS), np.uint8)
        """Newest frame of each flow (START code 0), zero behind its slots."""
        self.prints = Prints()
        self._watched = -1
        """The version of the table when likeness was looked for."""
        self.names: dict[int, bytes] = {}
        """64 raw octets of the E1.31 source name by flow."""
        self.buckets = Buckets()
        self.faults = Faults(int(numbers.cap_clients))
        self.slotwise = SlotPriorities()
        self.comebacks: dict[int, list[int]] = {}
        """ns of the newest returns of a flow, at most eight."""
        self.returns: list[Return] = []
        """Of the ticks that are not judged yet."""
        self.established: list[int] = []
        """Flows that were seen in their third second in the newest fold."""
        self.stream_ids: dict[tuple[int, ...], int] = {}
        self.senders = Senders(int(numbers.cap_flows))
        self._sent: dict[tuple[int, int], list[int]] = {}
        """Flows by segment and MAC, as of ``_sent_at``, a version of the table."""
        self._sent_at = -1
        self._of_form: I64 = np.zeros(0, np.int64)
        """Flows by form of header, as of ``_forms_at``: a turn of the forms and a version of the table."""
        self._forms_at = -1, -1

    # ---- keys ----

    def columns(self, decoded: Decoded, at: I64) -> tuple[npt.NDArray[np.uint64], ...]:
        """The key of level rows ``at`` as five uint64 columns."""
        levels, frames = decoded.levels, decoded.frames
        row = levels.row[at]
        shift16, shift32, shift8 = np.uint64(16), np.uint64(32), np.uint64(8)
        return (
            levels.id_hi[at], levels.id_lo[at],
            (frames.mac[row] << shift16) | levels.universe[at].astype(np.uint64),
            (frames.src[row].astype(np.uint64) << shift32) | frames.dst[row].astype(np.uint64),
            (frames.segment[row].astype(np.uint64) << shift8) | levels.protocol[at].astype(np.uint64),
        )

    def known(self, decoded: Decoded) -> I64:
        """The flow of each level row, -1 where it is not held. Rows of one form are of one flow: each form is looked up once."""
        form = decoded.form
        if form is None:
            return self.table.find(self.columns(decoded, np.arange(len(decoded.levels.row))))
        if self._forms_at != (decoded.turn, self.table.version):
            self._forms_at = decoded.turn, self.table.version
            self._of_form = np.full(len(self._of_form), -1, np.int64)
        of_kinds = self.of_kinds(decoded)
        if of_kinds is not None:
            return self._of_form[form]
        most = int(form.max(initial=-1)) + 1
        if most > len(self._of_form):
            self._of_form = np.append(self._of_form, np.full(most, -1, np.int64))
        flow: I64 = np.where(form < 0, -1, self._of_form[form]) if len(self._of_form) else form.copy()
        rest = np.flatnonzero(flow < 0)
        if len(rest):
            flow[rest] = self.table.find(self.columns(decoded, rest))
            rest = rest[form[rest] >= 0]
            self._of_form[form[rest]] = flow[rest]
        return flow

    def of_kinds(self, decoded: Decoded) -> I64 | None:
        """The flow of each kind of header; None where that is not known of all rows of a batch, or no longer is."""
        kinds = decoded.kinds
        if kinds is None or self._forms_at != (decoded.turn, self.table.version) or kinds.form[-1] >= len(self._of_form):
            return None
        flows: I64 = self._of_form[kinds.form]
        return flows if int(flows.min()) >= 0 else None

    def as_before(self, decoded: Decoded, time: I64) -> bool:
        """Are all rows of a batch of established flows that were not silent, by their known names?"""
        flows, kinds = self.of_kinds(decoded), decoded.kinds
        if flows is None or kinds is None:
            return False
        pause = int((time[kinds.within :] - time[: -kinds.within]).max(initial=0))
        pause = max(pause, int(time[kinds.within - 1]) - int(self.last[flows].min()))
        known = self.table.settled[flows] & (kinds.levels["name"] == self.name_print[flows])
        return pause <= int(self.silence[flows].min()) and bool(known.all())

    def admit(self, batch: PacketBatch, decoded: Decoded, keys: tuple[npt.NDArray[np.uint64], ...], at: I64,
              time: I64) -> tuple[I64, I64, Bool]:
        """Level rows ``at`` by their keys: (flow of each, -1: no room; places of those that are new; which began a stream)."""
        row = decoded.levels.row[at].astype(np.int64)
        ids, new = self.table.admit_all(keys, batch.first + row, time[row])
        while self.table.size > len(self.segment):
            for name in _ARRAYS:
                setattr(self, name, grown(getattr(self, name)))
            self.levels, self.seen = grown(self.levels), grown(self.seen)
        return ids, new, self._begin(batch, decoded, ids[new], at[new], time[row[new]])

    def _begin(self, batch: PacketBatch, decoded: Decoded, flows: I64, at: I64, when: I64) -> Bool:
        """New flows, of level rows ``at``; gives which of them began a stream."""
        levels, frames, row = decoded.levels, decoded.frames, decoded.levels.row[at].astype(np.int64)
        for name, (_, value) in _ARRAYS.items():
            getattr(self, name)[flows] = value
        self.levels[flows] = 0
        self.seen[flows] = ((when // 1_000_000 + (1 << 31)) & 0xFFFFFFFF)[:, None]  # long ago
        for name, values in (
            ("segment", frames.segment[row]), ("protocol", levels.protocol[at]), ("universe", levels.universe[at]),
            ("mac", frames.mac[row]), ("src", frames.src[row]), ("dst", frames.dst[row]), ("to_mac", frames.to_mac[row]),
            ("cast", frames.cast[row]), ("id_hi", levels.id_hi[at]), ("id_lo", levels.id_lo[at]),
            ("first", when), ("run", when), ("first_n", batch.first + row), ("options", levels.options[at]),
            ("priority", levels.priority[at]),
        ):
            getattr(self, name)[flows] = values
        e131, artnet = int(self.numbers.source_silent_s * NS), int(self.numbers.artnet_silent_s * NS)
        self.silence[flows] = np.where(levels.protocol[at] == E131, e131, artnet)
        self.rename(batch, decoded, at, flows)
        return self._join(flows)

    def rename(self, batch: PacketBatch, decoded: Decoded, at: I64, flows: I64) -> None:
        """Take the source names of level rows ``at``."""
        self.name_print[flows] = decoded.levels.name[at]
        for flow, where in zip(flows.tolist(), decoded.levels.name_at[at].tolist(), strict=True):
            if where >= 0:
                self.names[flow] = batch.data[where : where + 64].tobytes()

    def _join(self, flows: I64) -> Bool:
        """Find streams and senders of new flows; gives which began a stream."""
        columns, known = (self.segment, self.protocol, self.id_hi, self.id_lo, self.universe), len(self.stream_ids)
        keys = zip(*(column[flows].tolist() for column in columns), strict=True)
        streams = np.array([self.stream_ids.setdefault(key, len(self.stream_ids)) for key in keys], np.int64)
        self.stream[flows] = streams
        box = (column[flows] for column in (self.mac, self.src, self.segment, self.first_n, self.first))
        self.alive[flows] = self.senders.admit(*box)
        begun: Bool = streams > np.maximum.accumulate(np.append(known - 1, streams))[:-1]
        return begun

    def coming_back(self, flow: I64, time: I64, tick: I64) -> list[int]:
        """Ticks in which a known flow comes back after a silence."""
        here = np.bincount(flow + 1)[1:].nonzero()[0]
        if not len(here):
            return []
        last, silence = int(self.last[here].min()), int(self.silence[here].min())
        if int(time[-1]) - last <= silence or speak_often(flow, here, time, last, silence):
            return []  # nobody was silent for as long
        known = np.flatnonzero(flow >= 0)
        order = known[np.argsort(flow[known].astype(np.uint16) if self.table.size < 65_536 else flow[known], kind="stable")]
        ids, when = flow[order], time[order]
        before = np.empty_like(when)
        before[1:] = when[:-1]
        opens = begins_of(ids)
        before[opens] = self.last[ids[opens]]
        late = when - before > self.silence[ids]
        return np.unique(tick[order[late]]).tolist() if late.any() else []

    # ---- a stretch ----

    def fold(self, batch: PacketBatch | None, decoded: Decoded | None, rows: Rows, other: Others, tick: int, ticks: int,
             now: I64) -> Figures:
        """Fold the level rows of ``ticks`` ticks, and what all other packets say of who is alive."""
        flows = self.table.size
        self.prints.begin(flows)
        last = np.full((ticks, flows), LONG_AGO, np.int64)
        options, priority = (np.tile(column[:flows], (ticks, 1)) for column in (self.options, self.priority))
        newest = np.full((ticks, flows), -1, np.int64)
        numbers = self.last_n[:flows].copy()
        cells = np.zeros(0, np.int64), np.zeros(0, np.int64)
        frames = NO_SLOTS
        before = self.levels if ticks == 1 else self.levels[:flows].copy()
        last[0] = self.last[:flows]
        if len(rows.flow) and batch is not None and decoded is not None:
            frames, cells = self._fold_rows(batch, decoded, rows, tick, ticks, (last, options, priority, newest))
        np.maximum.accumulate(last, axis=0, out=last)
        alive = self.senders.fold(other, last, self.table, self.alive)
        return Figures(tick, now, last, options, priority, newest, frames, before, alive, numbers, cells)

    def fold_alone(self, rows: TickRows, tick: int, now: I64) -> Figures:
        """Fold the rows of one tick, sorted and compared before; the same as ``fold`` does with them."""
        flows, ids, gaps, came = self.table.size, rows.ids, (rows.flow, rows.gap), NONE_AGAIN
        self.prints.begin(flows)
        numbers = self.last_n[:flows].copy()
        first, final = rows.number[rows.begins], rows.number[rows.closes]
        if not (rows.plain and sequence.fold_plain(self, ids, rows.packets, first, final, rows.marks)):
            counted, codes = Counted(rows.flow, rows.time, rows.gap, rows.n, rows.begins), np.zeros(len(rows.flow), np.uint8)
            again = sequence.fold(self, counted, rows.number, codes, codes.astype(bool))
            gaps = rows.flow[~again], rows.gap[~again]
            came = self._came_again(np.flatnonzero(again), counted, rows.number, codes)
        self.spacing.fold(*gaps)
        self.tail.add(tick, rows.flow, came)
        self.last[ids], self.last_n[ids] = rows.time[rows.closes], rows.n[rows.closes]
        self.packets[ids] += rows.packets
        self.changes[ids] += rows.changes
        moved = np.flatnonzero(rows.changes)
        self.changed[ids[moved]] = rows.changed[moved]
        self.levels[ids[moved]] = rows.frames.at(rows.closes[moved])
        if len(rows.compared[0]):
            self.prints.enter(*rows.compared)
        self._settle(ids, np.zeros(len(ids), np.int64), tick)
        self.senders.hear(*rows.heard)
        self.senders.hear(self.alive[ids], self.last[ids])
        newest = np.full(flows, -1, np.int64)
        newest[ids] = rows.closes
        last, options, priority = (column[None, :flows].copy() for column in (self.last, self.options, self.priority))
        alive = self.senders.heard[None, : self.senders.table.size].copy()
        cells = ids, rows.n[rows.closes]
        return Figures(tick, now, last, options, priority, newest[None], rows.frames, self.levels, alive, numbers, cells)

    def _fold_rows(self, batch: PacketBatch, decoded: Decoded, rows: Rows, tick: int, ticks: int,
                   out: tuple[I64, I64, I64, I64]) -> tuple[SlotRows, tuple[I64, I64]]:
        levels, steady = decoded.levels, self._steady(decoded)
        last, options, priority, newest = out
        order = np.argsort(rows.flow.astype(np.uint16) if self.table.size < 65_536 else rows.flow, kind="stable")
        flow, k, time = rows.flow[order], rows.tick[order], rows.time[order]
        if rows.index[-1] - rows.index[0] == len(order) - 1 == rows.n[-1] - rows.n[0]:
            n, index = order + rows.n[0], order + rows.index[0]
        else:
            n, index = rows.n[order], rows.index[order]
        begins, closes, ends = bounds_of(flow, k)
        ids = flow[begins]

        gap = np.empty_like(time)
        np.subtract(time[1:], time[:-1], out=gap[1:])
        gap[begins] = time[begins] - self.last[ids]
        restart = np.zeros(len(flow), bool)
        if int(gap.max()) > int(self.silence[ids].min()):
            restart = gap > self.silence[flow]
            self._note_returns(tick, flow, k, time, n, time - gap, restart)
        counted = Counted(flow, time, gap, n, begins)
        codes = np.zeros(len(flow), np.uint8) if steady else levels.start_code[index]
        again = sequence.fold(self, counted, levels.sequence[index], codes, restart)
        left = restart | again
        self.spacing.fold(*((flow[~left], gap[~left]) if left.any() else (flow, gap)))
        here = k == k.max()  # the light of the stretch's last tick
        came = self._came_again(np.flatnonzero(here & again), counted, levels.sequence[index], codes)
        self.tail.add(tick + int(k.max()), flow[here], came)

        last[k[ends], flow[ends]] = time[ends]
        bounds = (begins, closes, ends) if steady else None
        frames = self._fold_levels(batch, decoded, flow, k, time, n, index, newest, bounds)

        self.last[ids] = time[closes]
        self.last_n[ids] = n[closes]
        self.packets[ids] += closes - begins + 1
        if not steady:
            self.faults.of_flows(flow, levels.faults[index], time, n)
            carry(options, levels.options[index].astype(np.int64), flow, k, ends, ids)
            carry(priority, levels.priority[index].astype(np.int64), flow, k, ends, ids)
            final = index[closes]
            self.options[ids], self.priority[ids] = levels.options[final], levels.priority[final]
            self.sync[ids] = levels.sync[final]
        self._settle(flow[ends], k[ends], tick)
        return frames, (flow[ends] * ticks + k[ends], n[ends])

    def _steady(self, decoded: Decoded) -> bool:
        """Do all kinds of headers of a batch say what their flows said last, levels, and nothing wrong?"""
        flows, kinds = self.of_kinds(decoded), decoded.kinds
        if flows is None or kinds is None or kinds.levels["start_code"].any() or kinds.levels["faults"].any():
            return False
        return all(np.array_equal(kinds.levels[name], getattr(self, name)[flows]) for name in STEADY)

    @staticmethod
    def _came_again(at: I64, rows: Counted, number: U8, codes: U8) -> Again:
        """Of these places."""
        cell = rows.flow[at] * sequence.NUMBERS + number[at] + 256 * (codes[at] != 0)
        return Again(cell, rows.time[at], rows.n[at])

    def _note_returns(self, tick: int, flow: I64, k: I64, time: I64, n: I64, before: I64, restart: Bool) -> None:
        long = int(self.numbers.proven_s * NS)
        for at in np.flatnonzero(restart & (before != LONG_AGO)):
            self.outages[flow[at]] += 1
            if self.run[flow[at]] + long <= before[at] + self.silence[flow[at]]:
                self.proven[flow[at]] = self.run[flow[at]] + long
            newest = self.comebacks.setdefault(int(flow[at]), [])
            newest.append(int(time[at]))
            del newest[:-8]
            self.run[flow[at]] = time[at]
            self.returns.append(Return(tick + int(k[at]), int(flow[at]), int(before[at]), int(time[at]), int(n[at])))

    def _fold_levels(self, batch: PacketBatch, decoded: Decoded, flow: I64, k: I64, time: I64, n: I64, index: I64,
                     newest: I64, bounds: tuple[I64, I64, I64] | None) -> SlotRows:
        """Compare each frame with the one before, keep the newest; gives the frames by row.

        ``bounds`` = those of all rows, where all are whole.
        """
        levels = decoded.levels
        if bounds is None:
            whole = (levels.start_code[index] == 0) & (levels.at[index] >= 0)
            if not whole.all():
                self.slotwise.fold(batch, decoded, flow, time, n, index)
                flow, k, time, index = flow[whole], k[whole], time[whole], index[whole]
                if not len(flow):
                    return NO_SLOTS
        begins, closes, ends = bounds_of(flow, k) if bounds is None else bounds
        frames = SlotRows(batch.data, levels.at[index], levels.slots[index])
        ids = flow[begins]
        differs = frames.differ(begins, self.levels, self.slots, ids)
        self.changes[ids] += np.add.reduceat(differs, begins, dtype=np.int64)
        at = np.flatnonzero(differs)
        # Rising times: the last assignment of a flow wins.
        self.changed[flow[at]] = time[at]
        if self.prints.on:
            told = at[self.compared[flow[at]]]
            self.prints.fold(flow[told], k[told], len(newest), time[told], prints_of(frames.at(told)))
        newest[k[ends], flow[ends]] = ends
        np.maximum.accumulate(newest, axis=0, out=newest)
        moved = np.logical_or.reduceat(differs, begins)
        self.levels[ids[moved]] = frames.at(closes[moved])
        self.slots[ids] = frames.slots[closes]
        return frames

    def _settle(self, flow: I64, k: I64, tick: int) -> None:
        """Seen in three different seconds: a flow is established."""
        self.established += flow[self.table.touch(flow, tick + k)].tolist()

    # ---- tick end ----

    def counts(self) -> dict[str, I64]:
        """Running counts by name, one entry a flow."""
        size = self.table.size
        counts = {name: getattr(self, name)[:size] for name in COUNTS}
        counts["lost_split"] = np.where(self.mixed[:size], self.lost_split[:size], self.lost[:size])
        return counts

    def close_bucket(self) -> None:
        """At the end of a tick on the 10 s grid."""
        self.buckets.close(self.counts())
        self.spacing.close()
        self.missed.close(self.segment >> 24, self.alive)

    @property
    def likeness_seen(self) -> bool:
        """Is it known of all flows whether they are compared?"""
        return self._watched == self.table.version

    def watch_likeness(self) -> None:
        """Flows that may carry the light of another source, or of the other protocol, are compared from the next tick on."""
        if self.table.version == self._watched:
            return
        self._watched = self.table.version
        used = np.flatnonzero(self.table.used[: self.table.size])
        place, sacn = self.segment[used] << 20 | self.universe[used], self.protocol[used] == E131
        universe, stream = place << 1 | sacn, self.stream[used]
        order = np.lexsort((stream, universe))
        universes, streams = universe[order], stream[order]
        shared = universes[1:][(universes[1:] == universes[:-1]) & (streams[1:] != streams[:-1])]
        if len(shared):
            self.compared[used[np.isin(universe, shared)]] = True
        if sacn.any() and not sacn.all():
            for offset in OFFSETS:
                self.compared[used[sacn & np.isin(place - offset, place[~sacn])]] = True
                self.compared[used[~sacn & np.isin(place + offset, place[sacn])]] = True
        self.prints.on |= bool(self.compared[used].any())

    def evict(self, tick: int, time: int) -> bool:
        """Let newcomers and the aged go; True when ids were freed."""
        gone = self.table.overdue(tick)
        if not len(gone):
            return False
        self.table.free(gone, time)
        self.prints.forget(gone)
        leaving = set(gone.tolist())
        for noted in (self.names, self.comebacks, self.faults.flows):
            for flow in noted.keys() & leaving:
                del noted[flow]
        self.slotwise.forget(leaving)
        for each in (self.buckets, self.spacing, self.missed):
            each.forget(gone)
        used = np.flatnonzero(self.table.used[: self.table.size])
        self.senders.keep(self.alive[used], time)
        if len(self.stream_ids) > 2 * self.table.held + 64:
            self.stream_ids.clear()
            self._join(used)
        return True

    def of_sender(self, segment: int, mac: int) -> Sequence[int]:
        """Flows that a box sends."""
        if self._sent_at != self.table.version:
            used = np.flatnonzero(self.table.used[: self.table.size])
            self._sent_at, self._sent = self.table.version, {}
            for flow, *box in zip(used.tolist(), self.segment[used].tolist(), self.mac[used].tolist(), strict=True):
                self._sent.setdefault((box[0], box[1]), []).append(flow)
        return self._sent.get((segment, mac), ())

    def of_streams(self) -> dict[int, list[int]]:
        """Flows of each stream, both by first appearance."""
        out: dict[int, list[int]] = {}
        used = np.flatnonzero(self.table.used[: self.table.size])
        for flow in used[np.argsort(self.table.born[used], kind="stable")].tolist():
            out.setdefault(int(self.stream[flow]), []).append(flow)
        return out
