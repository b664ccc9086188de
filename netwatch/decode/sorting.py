"""Where the rows of one batch go: each decoder takes rows out of the pile and says here what they are."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np

from netwatch.decode.tables import Arps, Broken, Column, Fault, Kind, Levels, Rare, Syncs
from netwatch.packets.batch import PacketBatch

CUT = "cut before headers"
"""The capture kept too few octets to say more."""
SHORT = "too short for its headers"
"""The packet itself ended."""
CUT_AND_WRONG = "cut, not judged"
"""A field has a value that a receiver would refuse, but the capture cut the packet, so it is not called broken."""

NO_FAULT = 255
Part = Mapping[str, Any]
Check = tuple[Fault, Column]
Action = Callable[[Column], None]

_TYPES: dict[type, dict[str, type]] = {
    Levels: {
        "row": np.int32, "protocol": np.uint8, "id_hi": np.uint64, "id_lo": np.uint64, "universe": np.uint16,
        "priority": np.uint8, "sequence": np.uint8, "options": np.uint8, "sync": np.uint16, "start_code": np.uint8,
        "slots": np.int32, "at": np.int64, "name": np.uint64, "name_at": np.int64, "faults": np.uint32,
    },
    Syncs: {
        "row": np.int32, "protocol": np.uint8, "id_hi": np.uint64, "id_lo": np.uint64, "address": np.uint16,
        "sequence": np.uint8,
    },
    Arps: {"row": np.int32, "op": np.uint16, "sha": np.uint64, "spa": np.uint32, "tha": np.uint64, "tpa": np.uint32},
    Rare: {
        "row": np.int32, "kind": np.uint8, "at": np.int64, "size": np.int32, "cut": np.bool_, "sport": np.uint16,
        "dport": np.uint16,
    },
    Broken: {"row": np.int32, "protocol": np.uint8, "fault": np.uint8},
}


class Sorting:
    """What is known of each row so far, and the parts of the tables."""

    def __init__(self, batch: PacketBatch) -> None:
        self.batch = batch
        self.data = batch.data
        self.end: Column = batch.start + batch.caplen
        """Byte behind what was captured."""
        self.cut: Column = batch.caplen < batch.wirelen
        self.wire_end: Column = batch.start + batch.wirelen
        """Byte behind what was on the wire, had all been captured."""
        self.kind = np.full(batch.rows, Kind.OTHER, np.uint8)
        self.src = np.zeros(batch.rows, np.uint32)
        self.dst = np.zeros(batch.rows, np.uint32)
        self.undecoded: dict[str, int] = {}
        self._parts: dict[type, list[Part]] = {table: [] for table in _TYPES}

    def leave(self, rows: Column, reason: str, kind: Kind = Kind.UNREAD) -> None:
        """Rows that are not read further, and why."""
        if len(rows):
            self.kind[rows] = kind
            self.undecoded[reason] = self.undecoded.get(reason, 0) + len(rows)

    def leave_short(self, rows: Column, kind: Kind = Kind.UNREAD) -> None:
        """Rows that end before a header does, by the capture's fault or their own."""
        cut = self.cut[rows]
        self.leave(rows[cut], CUT, kind)
        self.leave(rows[~cut], SHORT, kind)

    def discard(self, protocol: int, rows: Column, fault: Column | Fault) -> None:
        """Lighting frames that a receiver must discard; of cut ones nothing is said."""
        cut = self.cut[rows]
        if cut.any():
            self.leave(rows[cut], CUT_AND_WRONG)
            fault = fault if isinstance(fault, Fault) else fault[~cut]
            rows = rows[~cut]
        if len(rows):
            self.kind[rows] = Kind.BROKEN
            self.add(Broken, {"row": rows, "protocol": protocol, "fault": fault})

    def too_short(self, protocol: int, rows: Column, kind: Kind) -> None:
        """Lighting frames that end before their fixed fields; of cut ones only ``kind`` is known."""
        cut = self.cut[rows]
        self.leave(rows[cut], CUT, kind)
        self.discard(protocol, rows[~cut], Fault.TOO_SHORT)

    def rare(self, rows: Column, kind: Column | Kind, at: Column, size: Column, ports: tuple[Any, Any] = (0, 0)) -> None:
        """Packets that become records: ``size`` octets by the protocol's own lengths at ``at``, less what was cut."""
        if not len(rows):
            return
        self.kind[rows] = kind
        end = self.end[rows]
        at = np.minimum(at, end)
        held = np.minimum(size, end - at)
        self.add(Rare, {
            "row": rows, "kind": kind, "at": at, "size": held, "cut": held < size, "sport": ports[0], "dport": ports[1],
        })  # fmt: skip

    def add(self, table: type, part: Part) -> None:
        """Some rows of a table, in order of row; a single value stands for all of them."""
        if len(part["row"]):
            self._parts[table].append(part)

    def table(self, table: type) -> Any:
        """All parts of ``table`` as columns of its types, in order of row."""
        types, parts = _TYPES[table], self._parts[table]
        if not parts:
            return EMPTY[table]
        if len(parts) == 1:
            return table(**_columns(types, parts[0]))
        columns = [_columns(types, part) for part in parts]
        order = np.argsort(np.concatenate([part["row"] for part in columns]), kind="stable")
        return table(**{name: np.concatenate([part[name] for part in columns])[order] for name in types})


def _columns(types: Mapping[str, type], part: Part) -> dict[str, Column]:
    rows = len(part["row"])
    return {
        name: np.ascontiguousarray(part[name], type_) if np.ndim(part[name]) else np.full(rows, part[name], type_)
        for name, type_ in types.items()
    }


EMPTY: dict[type, Any] = {
    table: table(**{name: np.empty(0, type_) for name, type_ in types.items()}) for table, types in _TYPES.items()
}
"""Each table without a row."""


def first_that_holds(lines: Iterable[tuple[Column, Action | None]]) -> None:
    """Of each row, act on the first line whose condition it meets; an action gets the mask of its rows."""
    left: Column | None = None
    for condition, action in lines:
        mine = condition if left is None else condition & left
        if action and mine.any():
            action(mine)
        left = ~mine if left is None else left & ~mine


def first_fault(checks: Iterable[Check]) -> Column | None:
    """For each row the first Fault whose mask is set, NO_FAULT without; None if all rows are good."""
    found = [check for check in checks if check[1].any()]
    if not found:
        return None
    faults = np.full(len(found[0][1]), NO_FAULT, np.uint8)
    for fault, mask in reversed(found):
        faults[mask] = fault
    return faults


def fault_bits(checks: Iterable[Check], rows: int) -> Column:
    """The set of Faults whose masks are set, one uint32 a row."""
    bits = np.zeros(rows, np.uint32)
    for fault, mask in checks:
        if mask.any():
            bits[mask] |= np.uint32(1 << fault)
    return bits
