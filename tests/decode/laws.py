"""What must hold of the tables that bytes are decoded into, whatever the bytes are."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np

from netwatch.decode import records
from netwatch.decode.tables import E131 as PROTOCOL
from netwatch.decode.tables import RARE, Decoded, Kind
from netwatch.packets.batch import PacketBatch


def check(packets: PacketBatch, tables: Decoded) -> None:
    """What must hold whatever the bytes are."""
    kind = tables.frames.kind
    end = packets.start + packets.caplen
    assert all(len(column) == packets.rows for column in columns(tables.frames).values())
    assert set(kind.tolist()) <= set(Kind)

    told = [t.row for t in (tables.levels, tables.syncs, tables.arps, tables.rare, tables.broken)]
    assert all((np.diff(rows) > 0).all() for rows in told)
    everything = np.concatenate(told)
    assert len(set(everything.tolist())) == len(everything)
    untold = np.setdiff1d(np.flatnonzero(np.isin(kind, [*RARE, *range(1, 6), Kind.ARP, Kind.BROKEN, Kind.UNREAD])), everything)
    assert len(untold) <= sum(tables.undecoded.values())
    assert len(np.flatnonzero(kind == Kind.UNREAD)) <= sum(tables.undecoded.values())

    levels, rare = tables.levels, tables.rare
    by_protocol = np.where(levels.protocol == PROTOCOL, Kind.E131_DATA, Kind.ARTNET_LEVELS)
    assert (kind[levels.row] == by_protocol).all()
    assert (levels.slots >= 0).all()
    assert (levels.slots <= 512).all()
    held = levels.at >= 0
    assert (levels.at + levels.slots <= end[levels.row])[held].all()
    assert (packets.caplen < packets.wirelen)[levels.row][~held].all()
    named = levels.protocol == PROTOCOL
    assert (levels.name_at + 64 <= end[levels.row])[named].all()

    assert (kind[rare.row] == rare.kind).all()
    assert set(rare.kind.tolist()) <= RARE
    assert (rare.at >= packets.start[rare.row]).all()
    assert (rare.size >= 0).all()
    assert (rare.at + rare.size <= end[rare.row]).all()
    assert (kind[tables.arps.row] == Kind.ARP).all()
    assert (kind[tables.broken.row] == Kind.BROKEN).all()
    assert not (packets.caplen < packets.wirelen)[tables.broken.row].any()
    assert len(records.read(packets, tables, np.arange(len(rare.row)))) == len(rare.row)


def columns(table: Any) -> dict[str, np.ndarray]:
    return {field.name: getattr(table, field.name) for field in fields(table)}
