"""One batch before it is folded: the keys of its rows looked up, and which of its ticks hold news.

News is whatever changes a slow table: a key not held yet, a record, a new name, a flow that is not established or comes back,
a word on a contested address. A tick with news is folded alone, so that in all longer stretches the slow tables stand still.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import UNICAST, Decoded, Frames
from netwatch.network.by_tick import ByTick, TickRows, by_tick
from netwatch.network.habits import Habits
from netwatch.network.keys import KeyTable
from netwatch.network.reading import Ahead
from netwatch.network.vantage import HEARD, PortState
from netwatch.packets.batch import DIRECTION_OUT, PacketBatch

if TYPE_CHECKING:
    from netwatch.network.network import Network
    from netwatch.network.streams import Streams

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]
Bool = npt.NDArray[np.bool_]


@dataclass(slots=True)
class Keyed:
    """The rows of a batch that hold a key of one table, in order."""

    table: KeyTable
    row: I64
    key: Callable[[I64], tuple[U64, ...]]
    """The key columns at some places of ``row``."""
    id: I64
    """-1 = unknown or refused."""
    version: int = field(init=False)
    """Of the table, when all ids were looked up."""
    lacks: bool = field(init=False)
    """Some ids were not known."""

    def __post_init__(self) -> None:
        self.version = self.table.version
        self.lacks = bool((self.id < 0).any())

    @staticmethod
    def of(table: KeyTable, row: I64, columns: tuple[U64, ...]) -> Keyed:
        """Rows whose whole columns are there."""
        ids = table.find(columns) if len(row) else np.zeros(0, np.int64)
        return Keyed(table, row, lambda places: tuple(column[places] for column in columns), ids)

    def between(self, lo: int, hi: int) -> slice:
        """The part that falls into rows lo..hi."""
        rows = len(self.row)
        if not rows or self.row[-1] == rows - 1:  # each row of the batch up to there
            return slice(min(lo, rows), min(hi, rows))
        return slice(*self.row.searchsorted((lo, hi)).tolist())

    def unknown(self, lo: int, hi: int) -> I64:
        """Places of the keys in rows lo..hi that are not held."""
        if not self.lacks:
            return self.row[:0]
        part = self.between(lo, hi)
        places: I64 = (self.id[part] < 0).nonzero()[0] + part.start
        return places

    def look_up(self, lo: int, hi: int) -> None:
        """Find what was not held in rows lo..hi, if keys came since. Later rows wait for their own tick: it has news."""
        places = self.unknown(lo, hi) if self.table.version != self.version else self.row[:0]
        if len(places):
            self.id[places] = self.table.find(self.key(places))

    def forget(self, lo: int) -> I64:
        """Rows from ``lo`` on that lose their id: keys went."""
        a = int(np.searchsorted(self.row, lo))
        places = np.flatnonzero((self.id[a:] >= 0) & ~self.table.used[self.id[a:]]) + a
        self.id[places] = -1
        self.lacks |= len(places) > 0
        return self.row[places]


@dataclass(slots=True)
class Prepared:
    """One batch, ready to be folded in stretches."""

    batch: PacketBatch
    decoded: Decoded
    time: I64
    """Fold time of each row."""
    tick: I64
    """Tick number of each row."""
    flows: Keyed
    """The rows of ``decoded.levels``."""
    claims: Keyed
    pairs: Keyed
    habits: tuple[I64, tuple[U64, ...]]
    """(row, key columns); a new habit is no news, as it counts from a step of the 10 s grid on."""
    slow: set[int] = field(default_factory=set)
    """Ticks with news. The next three are of these."""
    meets: set[int] = field(default_factory=set)
    """Ticks with a port or a MAC that may be new there."""
    names: set[int] = field(default_factory=set)
    """Ticks in which a flow may have another name than before."""
    probes: set[int] = field(default_factory=set)
    """Ticks in which a box asks whether an address is free."""
    _alone: tuple[int, ByTick | None] = (-1, None)
    """Light of the ticks with news, as of a version of the flows."""
    tagged: I64 = field(default_factory=lambda: np.zeros(0, np.int64))
    """Rows with a VLAN tag."""
    ahead: Ahead = field(init=False)
    claimed: tuple[I64, I64, I64] = field(init=False)
    """Fold time, packet number and tick of each of ``claims``."""

    def __post_init__(self) -> None:
        row = self.claims.row
        self.claimed = self.time[row], self.batch.first + row, self.tick[row]
        self.ahead = Ahead(self.decoded.rare.row)

    def n(self, row: int) -> int:
        """Packet number of a row."""
        return self.batch.first + row

    def alone(self, streams: Streams, tick: int, lo: int, hi: int) -> TickRows | None:
        """The light of one tick, rows lo..hi, sorted with that of all ticks with news; None where it is not as plain as that."""
        if not streams.likeness_seen:
            return None
        if self._alone[0] != streams.table.version:
            self._alone = streams.table.version, by_tick(streams, self, tick, lo)
        rows = self._alone[1]
        return None if rows is None else rows.part(self.flows.between(lo, hi), lo, hi)

    @property
    def keyed(self) -> tuple[Keyed, Keyed, Keyed]:
        """Flows, claims, pairs."""
        return self.flows, self.claims, self.pairs


def prepare(network: Network, batch: PacketBatch, decoded: Decoded, time: I64, tick: I64, out: Bool | None) -> Prepared:
    """Look all keys up, and find the ticks with news; ``out`` = rows that no table shall see."""
    frames, streams, claims, vantage = decoded.frames, network.streams, network.claims, network.vantage
    claim_row, claim_columns = _less(out, *claims.rows(decoded))
    unicast = np.zeros(0, np.int64)
    if len(vantage.judged) < len(batch.ports):
        unicast = decoded.rows(lambda frames: (frames.cast == UNICAST) & (frames.mac != 0) & (frames.to_mac != 0))
        unicast = unicast[~np.isin(batch.port[unicast], sorted(vantage.judged))] if vantage.judged else unicast
    pairs = (frames.mac[unicast] << np.uint64(16)) | batch.port[unicast].astype(np.uint64), frames.to_mac[unicast]
    it = Prepared(
        batch, decoded, time, tick,
        Keyed(streams.table, _light(decoded, batch.rows), partial(streams.columns, decoded), streams.known(decoded)),
        Keyed.of(claims.table, claim_row, claim_columns), Keyed.of(vantage.pairs, unicast, pairs),
        _less(out, *Habits.rows(decoded)),
    )  # fmt: skip
    find_news(network, it)
    kinds, light = decoded.kinds, it.tick if decoded.kinds is not None else it.tick[it.flows.row]
    turn = max(1, len(light)) if kinds is None else kinds.within
    it.slow |= streams.tail.crowded(it.flows.id, light, int(it.tick[-1]), int(network.numbers.loop_light), turn)
    return it


def _light(decoded: Decoded, rows: int) -> I64:
    """Rows of ``decoded.levels``."""
    return decoded.levels.row.astype(np.int64) if decoded.kinds is None else np.arange(rows)


def _less(out: Bool | None, row: I64, columns: tuple[U64, ...]) -> tuple[I64, tuple[U64, ...]]:
    """Rows and their keys without those that are left out."""
    if out is None:
        return row, columns
    keep = ~out[row]
    return row[keep], tuple(column[keep] for column in columns)


def find_news(network: Network, it: Prepared) -> None:
    """Add the ticks with news, as the tables stand now."""
    for keyed in it.keyed:
        if keyed.lacks:
            ticks = np.unique(it.tick[keyed.row[keyed.id < 0]]).tolist()
            it.slow.update(ticks)
            it.names.update(ticks if keyed is it.flows else ())
    it.slow.update(it.tick[it.decoded.rare.row].tolist())
    _find_stream_news(network, it)
    _find_new_macs(network, it)
    it.probes = network.starts.alone(it.decoded, it.tick)
    it.slow |= it.meets | it.names | it.probes
    find_contested(network, it)
    _find_rare_light(network, it)


def _find_rare_light(network: Network, it: Prepared) -> None:
    """Broken frames, new faults of flows, new senders of synchronization, and priorities slot by slot that change."""
    decoded = it.decoded
    it.slow.update(it.tick[decoded.broken.row].tolist())
    it.slow.update(it.tick[network.syncs.news(decoded)].tolist())
    if decoded.kinds is not None and not (decoded.kinds.levels["faults"].any() or decoded.kinds.levels["start_code"].any()):
        return
    it.slow.update(it.tick[it.flows.row[network.streams.faults.news(it.flows.id, decoded.levels.faults)]].tolist())
    if decoded.levels.start_code.any():
        it.slow.update(it.tick[it.flows.row[network.streams.slotwise.news(it.batch, decoded, it.flows.id)]].tolist())


def find_contested(network: Network, it: Prepared) -> None:
    """Add the ticks in which somebody uses a contested address."""
    if network.claims.contested:
        claimed = it.claims.key(np.arange(len(it.claims.row)))[1]
        for row, place in ((it.claims.row, claimed), (it.flows.row, place_of(it.decoded.frames, it.flows.row))):
            it.slow.update(it.tick[row[network.claims.is_contested(place)]].tolist())


def _find_stream_news(network: Network, it: Prepared) -> None:
    """Flows that are not established yet, that come back after a silence, or that change their name."""
    streams, flow, row = network.streams, it.flows.id, it.flows.row
    if streams.as_before(it.decoded, it.time):
        return
    tick, known = it.tick[row], flow >= 0
    fresh = known & ~streams.table.settled[flow]
    if fresh.any():
        it.slow.update(np.unique(tick[fresh]).tolist())
    it.slow.update(streams.coming_back(flow, it.time[row], tick))
    renamed = known & (it.decoded.levels.name != streams.name_print[flow])
    if renamed.any():
        it.names.update(tick[np.isin(flow, flow[renamed])].tolist())


def _find_new_macs(network: Network, it: Prepared) -> None:
    """The first few MACs of a port, and MACs that prove to be our own."""
    port, direction, kinds = it.batch.port, it.batch.direction, it.decoded.kinds
    if not (direction == DIRECTION_OUT).any() and (port == port[0]).all():
        only = network.vantage.ports.get(int(port[0])) or PortState()
        heard_all = len(only.heard) >= HEARD or (kinds is not None and set(kinds.frames.mac.tolist()) <= {0, *only.heard})
        if only.first is not None and heard_all:
            return
    mac = it.decoded.frames.mac
    # A MAC that was there a row ago is no news.
    turns = np.append(True, (mac[1:] != mac[:-1]) | (port[1:] != port[:-1]) | (direction[1:] != direction[:-1]))
    turns = np.flatnonzero(turns)
    for index in np.unique(port[turns]).tolist():
        state = network.vantage.ports.get(index) or PortState()
        if state.first is None:
            it.meets.add(int(it.tick[np.argmax(port == index)]))
        here = turns[(port[turns] == index) & (mac[turns] != 0)]
        heard = here if len(state.heard) < HEARD else here[:0]
        for rows, known in ((heard, state.heard.keys()), (here[direction[here] == DIRECTION_OUT], state.own)):
            if len(rows):
                macs, first = np.unique(mac[rows], return_index=True)
                news = [at for one, at in zip(macs.tolist(), first.tolist(), strict=True) if one not in known]
                it.meets.update(it.tick[rows[news]].tolist())


def place_of(frames: Frames, row: I64) -> U64:
    """segment << 32 | source address of rows."""
    place: U64 = (frames.segment[row].astype(np.uint64) << np.uint64(32)) | frames.src[row].astype(np.uint64)
    return place
