"""What is new in a tick: ports and their MACs, keys by packet number whatever their table, names of flows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from netwatch.network.changes import KEPT
from netwatch.network.claims import parts
from netwatch.network.prepared import Prepared, find_contested, place_of
from netwatch.network.reading import Heard, Said

if TYPE_CHECKING:
    from netwatch.network.network import Network

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]


def know_ports(network: Network, it: Prepared, lo: int, hi: int) -> None:
    """Ports of rows lo..hi, the first few MACs on each, and which of them are ours."""
    ports, frames, vantage = it.batch.port[lo:hi], it.decoded.frames, network.vantage
    rows: dict[int, slice | I64] = {int(ports[0]): slice(lo, hi)}
    if (ports != ports[0]).any():
        _, first = np.unique(ports, return_index=True)
        rows = {index: np.flatnonzero(ports == index) + lo for index in ports[np.sort(first)].tolist()}
    for index, here in rows.items():
        mac, time = frames.mac[here], it.time[here]
        news = vantage.know(index, network.ports[index], int(time[0]))
        news |= vantage.hear(index, mac, time)
        news |= vantage.send(index, mac[it.batch.direction[here] == 2])
        network.revision += news


def admit(network: Network, it: Prepared, lo: int, hi: int, heard: Sequence[Heard]) -> None:
    """New keys by n, table by table; what records say of boxes is told, and makes them, as new claims do."""
    boxes, strangers = network.claims.boxes, list[tuple[int, Said]]()
    for record, told, time in heard:
        if told is None:
            continue
        box = boxes.hear_again(told.box, time)
        if box < 0:
            strangers.append((record.n - it.batch.first, told))
        else:
            network.revision += boxes.tell(box, told.names, told.server)
    if strangers or it.flows.lacks or it.claims.lacks or it.pairs.lacks:
        _admit_new(network, it, lo, hi, strangers)


def _admit_new(network: Network, it: Prepared, lo: int, hi: int, told: Sequence[tuple[int, Said]]) -> None:
    """What is not held; ``told`` = (row, what a record says of a box that was not known)."""
    held, contests = _held(network), len(network.claims.contested)
    for keyed in it.keyed:
        keyed.look_up(lo, hi)
    flows, claims, pairs = (keyed.unknown(lo, hi) for keyed in it.keyed)
    light = _admit_flows(network, it, flows) if len(flows) else flows
    if len(claims) or len(light) or told:
        named = np.array([(row, *each.box) for row, each in told], np.int64).reshape(-1, 3)
        _admit_boxes(network, it, claims, light, named)
    if len(pairs):
        _admit_pairs(network, it, pairs)
        it.pairs.look_up(lo, hi)
    if len(network.claims.contested) != contests:
        find_contested(network, it)
    boxes = network.claims.boxes
    network.revision += sum(boxes.tell(boxes.table.get(*each.box), each.names, each.server) for _, each in told)
    network.revision += held != _held(network)


def _admit_flows(network: Network, it: Prepared, places: I64) -> I64:
    """Flows that are not held; gives the rows of new ones, whose senders use their source addresses."""
    frames = it.decoded.frames
    ids, new, begun = network.streams.admit(it.batch, it.decoded, it.flows.key(places), places, it.time)
    it.flows.id[places] = ids
    rows = it.flows.row[places[new]]
    told = zip(ids[new][begun][-KEPT:].tolist(), rows[begun][-KEPT:].tolist(), strict=True)
    network.changes.note_all("source", [network.of_source("source", flow, int(it.time[row]), it.n(row)) for flow, row in told])
    sent: I64 = rows[(frames.mac[rows] != 0) & (frames.src[rows] != 0)]
    return sent


def _admit_boxes(network: Network, it: Prepared, places: I64, light: I64, named: I64) -> None:
    """Claims that are not held, those of light from ``light`` on, and boxes that records name: rows of (row, segment, MAC)."""
    row = np.concatenate([it.claims.row[places], light])
    order = np.argsort(row, kind="stable")
    row, keys = row[order], zip(it.claims.key(places), light_claims(it, light), strict=True)
    columns = [np.concatenate(both)[order] for both in keys]
    ids, new = network.claims.admit(columns, it.batch.first + row, it.time[row])
    mine = order < len(places)
    it.claims.id[places[order[mine]]] = ids[mine]
    heard = np.stack([row[new], *parts(columns[0][new], columns[1][new])])
    heard = np.concatenate([heard, np.append(named.T, np.zeros((1, len(named)), np.int64), axis=0)], axis=1)
    row, segment, mac, address = heard[:, np.argsort(heard[0], kind="stable")]
    if len(row):
        network.claims.hear(segment, mac, address, it.batch.first + row, it.time[row])


def _admit_pairs(network: Network, it: Prepared, places: I64) -> None:
    """New pairs of unicast sender and receiver, on ports whose place is not known yet."""
    keys, judged = it.pairs.key(places), network.vantage.judged
    for at, row in enumerate(it.pairs.row[places].tolist()):
        if int(it.batch.port[row]) not in judged:
            network.vantage.pair(keys, at, it.n(row), int(it.time[row]))


def _held(network: Network) -> tuple[int, ...]:
    return network.streams.table.held, network.claims.table.held, len(network.claims.boxes)


def light_claims(it: Prepared, row: I64) -> tuple[U64, U64]:
    """The claims that rows of light make."""
    return it.decoded.frames.mac[row] << np.uint64(16), place_of(it.decoded.frames, row)


def rename(network: Network, it: Prepared, lo: int, hi: int) -> None:
    """The newest name of each flow stands."""
    called, streams = it.decoded.levels.name, network.streams
    part = it.flows.between(lo, hi)
    known = np.flatnonzero(it.flows.id[part] >= 0) + part.start
    if (called[known] == streams.name_print[it.flows.id[known]]).all():
        return
    newest = dict(zip(it.flows.id[known].tolist(), known.tolist(), strict=True))
    flows, at = np.array(list(newest), np.int64), np.array(list(newest.values()), np.int64)
    changed = called[at] != streams.name_print[flows]
    streams.rename(it.batch, it.decoded, at[changed], flows[changed])
    network.revision += 1
