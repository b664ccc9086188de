"""What is new in a tick: ports and their MACs, keys by packet number whatever their table, names of flows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from netwatch.network.prepared import Prepared, find_contested, place_of
from netwatch.network.reading import Said

if TYPE_CHECKING:
    from netwatch.network.network import Network

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]

NAMED = 99
"""Among new keys: a box that a record names; behind the tables of ``Prepared.keyed``."""


def know_ports(network: Network, it: Prepared, lo: int, hi: int) -> None:
    """Ports of rows lo..hi, the first few MACs on each, and which of them are ours."""
    ports, frames, vantage = it.batch.port[lo:hi], it.decoded.frames, network.vantage
    indices = [int(ports[0])]
    if (ports != ports[0]).any():
        _, first = np.unique(ports, return_index=True)
        indices = ports[np.sort(first)].tolist()
    for index in indices:
        here = np.flatnonzero(ports == index) + lo
        sent = here[it.batch.direction[here] == 2]
        news = vantage.know(index, network.ports[index], int(it.time[here[0]]))
        news |= vantage.hear(index, frames.mac[here], it.time[here])
        news |= vantage.send(index, frames.mac[sent])
        network.revision += news


def admit(network: Network, it: Prepared, lo: int, hi: int, told: Sequence[tuple[int, Said]]) -> None:
    """New keys by n, whatever their table; the box that a record names is one, too: ``told`` = (n, what it says of it)."""
    held, contests = _held(network), len(network.claims.contested)
    places = [keyed.unknown(lo, hi) for keyed in it.keyed]
    keys = [keyed.key(at) for keyed, at in zip(it.keyed, places, strict=True)]
    rows = [keyed.row[at].tolist() for keyed, at in zip(it.keyed, places, strict=True)]
    unknown = [(row, which, at) for which, mine in enumerate(rows) for at, row in enumerate(mine)]
    unknown += [(n - it.batch.first, NAMED, at) for at, (n, _) in enumerate(told)]
    unknown.sort()
    form, admitted = it.decoded.form, set[int]()
    like = [] if form is None else form[places[0]].tolist()
    for row, which, at in unknown:
        if which == NAMED:
            network.claims.box(*told[at][1].box, int(it.time[row]), it.n(row))
        elif which == 0:
            if like and like[at] in admitted:
                continue
            if _admit_flow(network, it, keys[0], at, int(places[0][at])) >= 0 and like and like[at] >= 0:
                admitted.add(like[at])
        elif which == 1:
            network.claims.admit(keys[1], at, it.n(row), int(it.time[row]))
        elif which == 3:
            network.revision += network.habits.admit(keys[3], at, it.n(row), int(it.time[row]))
        elif int(it.batch.port[row]) not in network.vantage.judged:
            network.vantage.pair(keys[2], at, it.n(row), int(it.time[row]))
    for which in {which for _, which, _ in unknown} - {NAMED}:
        it.keyed[which].look_up(lo)
    if len(network.claims.contested) != contests:
        find_contested(network, it)
    network.revision += held != _held(network)


def _held(network: Network) -> tuple[int, ...]:
    return network.streams.table.held, network.claims.table.held, network.claims.boxes.held


def _admit_flow(network: Network, it: Prepared, keys: tuple[U64, ...], key: int, at: int) -> int:
    """The id of the flow of level row ``at``, -1 where its table is full; a new one's sender uses its source address."""
    row = int(it.flows.row[at])
    frames, held, known = it.decoded.frames, network.streams.table.held, len(network.streams.stream_ids)
    flow = network.streams.admit(it.batch, it.decoded, keys, key, at, int(it.time[row]))
    if len(network.streams.stream_ids) > known:
        network.changes.note(network.of_source("source", flow, int(it.time[row]), it.n(row)))
    if network.streams.table.held != held and frames.mac[row] and frames.src[row]:
        here = np.array([row])
        network.claims.admit(light_claims(it, here), 0, it.n(row), int(it.time[row]))
    return flow


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
    for flow, at in dict(zip(it.flows.id[known].tolist(), known.tolist(), strict=True)).items():
        if called[at] != streams.name_print[flow]:
            streams.rename(it.batch, it.decoded, at, flow)
    network.revision += 1
