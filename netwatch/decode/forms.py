"""Headers that come again are read once.

A source of light sends the same octets before its levels again and again; only the IP identification, two checksums and the
sequence number move, and of those only the sequence number is ever read. So what stands before the levels of a packet is
a **form**: a row whose octets are those of a known form is what that form is. A hash finds the form, equality of all octets
and lengths decides. Everything else takes the ordinary way, and what proves to be light becomes a form.

Measured on 64 universes: less than 100 ns a packet in place of 230. Columns of forms are made when somebody asks for them, and
who wants to know something of all headers of a batch asks each form once (``Kinds``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Column, Decoded, Frames, Kinds, Levels
from netwatch.packets.batch import PacketBatch

U64 = npt.NDArray[np.uint64]

MOST = 16_384
"""Forms; when they are full, they are learnt anew, so a flood of sources costs time and no memory."""
_ETHERNET = 1

_WINDOW = 176
"""Octets of a row that are looked at; the last eight give way to its lengths and port."""
_WORDS = _WINDOW // 8
_E131_LEVELS, _ARTNET_LEVELS = 14 + 28 + 126, 14 + 28 + 18
"""Where slot 1 stands: behind Ethernet, IPv4 and UDP without tags and options (E1.31-2018 table 4-1, Art-Net 4 p.60)."""
_E131_SEQUENCE, _ARTNET_SEQUENCE = 14 + 28 + 111, 14 + 28 + 12
_MOVING = (18, 19, 24, 25, 40, 41)
"""IP identification and checksum (RFC 791 3.1), UDP checksum (RFC 768)."""
_PORT_AT, _ARTNET_PORT = 36, np.uint16(0x3619)
"""The destination port: 6454, as a little-endian word has it."""


def _mask(levels: int, sequence: int) -> U64:
    octets = np.zeros(_WINDOW, np.uint8)
    octets[:levels] = 0xFF
    octets[[*_MOVING, sequence]] = 0
    return octets.view("<u8")


_E131_MASK, _ARTNET_MASK = _mask(_E131_LEVELS, _E131_SEQUENCE), _mask(_ARTNET_LEVELS, _ARTNET_SEQUENCE)
_E131_MOVES = np.flatnonzero(_E131_MASK[:-1] != np.uint64(0xFFFF_FFFF_FFFF_FFFF)).tolist()
_MIX = np.array([pow(0x9E3779B97F4A7C15, i, 1 << 64) for i in range(1, _WORDS + 1)], np.uint64)
_CAPLEN, _WIRELEN = np.uint64(40), np.uint64(8)
"""Where the lengths stand in the last word, above the port."""
_MOVED = frozenset(("row", "sequence", "at", "name_at"))
"""Columns of light that a form does not give as they are: it says where they stand in a packet."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What the rows of one batch look like."""

    octets: U64
    """[rows, _WORDS] what stands before the levels, what moves masked off, and the lengths."""
    form: Column
    """int64: -1 = none."""
    period: int
    """Rows at the beginning that hold all forms: what follows comes in the same turn."""


class _FramesOfForms(Frames):
    """Frames whose columns are made once they are asked for."""

    __slots__ = ("_beside", "_form", "_table")
    _form: Column
    _table: Mapping[str, Column]
    _beside: Frames | None
    """Whose numbers follow those of the forms."""

    def __getattr__(self, name: str) -> Column:
        if name not in Frames.__match_args__:
            return _none(self, name)
        column = self._table[name]
        column = column if self._beside is None else np.concatenate([column, getattr(self._beside, name)])
        return _kept(self, name, column[self._form])


class _LevelsOfForms(Levels):
    """The same of levels."""

    __slots__ = ("_batch", "_form", "_rows", "_table")
    _batch: PacketBatch
    _rows: Column
    _form: Column
    _table: Mapping[str, Column]

    def __getattr__(self, name: str) -> Column:
        if name == "row":
            return _kept(self, name, self._rows.astype(np.int32))
        if name not in Levels.__match_args__:
            return _none(self, name)
        column = self._table[name]
        same = name in _MOVED and (column == column[0]).all()
        column = column[0] if same else column[self._form]
        if name in _MOVED:
            start = self._batch.start[self._rows]
            column = np.where(column < 0, -1, start + column) if name == "name_at" else start + column
            column = self._batch.data[column] if name == "sequence" else column
        return _kept(self, name, column)


def _kept(table: Frames | Levels, name: str, column: Column) -> Column:
    object.__setattr__(table, name, column)
    return column


def _none(table: Frames | Levels, name: str) -> Column:
    raise AttributeError(f"{type(table).__name__} has no {name}")


class Forms:
    """Those of one session."""

    def __init__(self) -> None:
        self._period = 0
        """Rows after which the forms of the newest batch come again, 0 = they don't, perhaps."""
        self.turn = 0
        """Rises when all are forgotten: the numbers of forms begin anew."""
        self._forget()

    def __deepcopy__(self, memo: object) -> Forms:
        """A checkpoint learns its own; what others noted by these numbers must not be taken for its own."""
        fresh = Forms()
        fresh.turn = self.turn + 1
        return fresh

    def __len__(self) -> int:
        return len(self._octets)

    def _forget(self) -> None:
        self._octets = np.zeros((0, _WORDS), np.uint64)
        self._hashes = np.zeros(0, np.uint64)
        """Sorted."""
        self._by_hash = np.zeros(0, np.int64)
        self._frames: dict[str, Column] = {}
        self._levels: dict[str, Column] = {}

    # ---- known rows ----

    def look(self, batch: PacketBatch) -> Seen:
        """Which rows are of a known form."""
        octets = _octets(batch)
        form = self._in_turn(octets)
        if form is not None:
            return Seen(octets, form, self._period)
        form = self._find(octets)
        turn = np.flatnonzero(form[1:] == form[0]) + 1
        self._period = int(turn[0]) if len(turn) and form[0] >= 0 else 0
        return Seen(octets, form, len(form))

    def _in_turn(self, octets: U64) -> Column | None:
        """Where all rows come in the same turn as in the batch before, as light mostly does: one comparison tells."""
        period, rows = self._period, len(octets)
        ends = min(2 * period, rows), rows  # where there is other talk, the first turn tells
        if not 0 < period < rows or not all(np.array_equal(octets[period:end], octets[: end - period]) for end in ends):
            return None
        form = self._find(octets[:period])
        return np.tile(form, -(-rows // period))[:rows]

    def _find(self, octets: U64) -> Column:
        if not len(self):
            return np.full(len(octets), -1, np.int64)
        hashes = _hashes(octets)
        place = np.minimum(np.searchsorted(self._hashes, hashes), len(self) - 1)
        form = np.where(self._hashes[place] == hashes, self._by_hash[place], -1)
        found = np.flatnonzero(form >= 0)
        differs = self._octets.take(form[found], axis=0) != octets.take(found, axis=0)
        if differs.any():
            form[found[differs.any(axis=1)]] = -1
        return form

    def frames(self, form: Column, others: Column | None = None, beside: Frames | None = None) -> Frames:
        """Of rows that all are of a form, but ``others``, whose frames are ``beside``."""
        if others is not None:
            form = form.copy()
            form[others] = np.arange(len(self), len(self) + len(others))
        frames = object.__new__(_FramesOfForms)
        for name, value in (("_form", form), ("_table", self._frames), ("_beside", beside)):
            object.__setattr__(frames, name, value)
        return frames

    def levels(self, batch: PacketBatch, row: Column, form: Column) -> Levels:
        """Of rows that all are of a form."""
        levels = object.__new__(_LevelsOfForms)
        for name, value in (("_batch", batch), ("_rows", row), ("_form", form), ("_table", self._levels)):
            object.__setattr__(levels, name, value)
        return levels

    def kinds(self, seen: Seen) -> Kinds:
        """Of rows that all are of a form."""
        form = np.flatnonzero(np.bincount(seen.form[: seen.period], minlength=len(self)))
        levels = {name: column[form] for name, column in self._levels.items() if name not in _MOVED}
        wirelen = (self._octets[form, -1] >> _WIRELEN).astype(np.uint32).astype(np.int64)
        return Kinds(form, seen.period, wirelen, self.frames(form), levels)

    # ---- new ones ----

    def learn(self, batch: PacketBatch, decoded: Decoded, seen: Seen, new: Column) -> None:
        """Take the light at places ``new`` of ``decoded.levels`` as forms, from now on and in ``seen``."""
        row, at = decoded.levels.row[new], decoded.levels.at[new]
        ethernet = np.array([port.link_type == _ETHERNET for port in batch.ports])
        before = at - batch.start[row]
        fits = (at >= 0) & ethernet[batch.port[row]] & ((before == _E131_LEVELS) | (before == _ARTNET_LEVELS))
        hashes, first = np.unique(_hashes(seen.octets[row[fits]]), return_index=True)
        new = new[fits][first][~np.isin(hashes, self._hashes)]
        if not len(new):
            return
        light = decoded.levels.row
        if len(self) + len(new) > MOST:
            self.turn += 1
            self._forget()
            seen.form[light] = -1
            new = new[:MOST]
        self._add(batch, decoded, seen, new)
        light = light[seen.form[light] < 0]
        seen.form[light] = self._find(seen.octets[light])

    def _add(self, batch: PacketBatch, decoded: Decoded, seen: Seen, new: Column) -> None:
        row = decoded.levels.row[new]
        self._octets = np.concatenate([self._octets, seen.octets[row]])
        hashes = _hashes(self._octets)
        self._by_hash = np.argsort(hashes, kind="stable")
        self._hashes = hashes[self._by_hash]
        start = batch.start[row]
        levels = {each.name: getattr(decoded.levels, each.name)[new] for each in fields(Levels)}
        levels["at"] = levels["at"] - start
        levels["name_at"] = np.where(levels["name_at"] < 0, -1, levels["name_at"] - start)
        levels["sequence"] = np.where(levels["at"] == _E131_LEVELS, _E131_SEQUENCE, _ARTNET_SEQUENCE)
        frames = {each.name: getattr(decoded.frames, each.name)[row] for each in fields(Frames)}
        self._levels = _joined(self._levels, levels)
        self._frames = _joined(self._frames, frames)


def _joined(held: dict[str, Column], new: dict[str, Column]) -> dict[str, Column]:
    return {name: np.concatenate([held[name], column]) if held else column for name, column in new.items()}


def _hashes(octets: U64) -> U64:
    """uint64 [rows]; faster than @, which has nothing of its own for integers."""
    hashes: U64 = np.einsum("ij,j", octets, _MIX)
    return hashes


def _octets(batch: PacketBatch) -> U64:
    """[rows, _WORDS] what stands before the levels of each row, were it light, what moves masked off, and its lengths.

    Behind the end of a row stands whatever follows: the lengths say how much of it was its own, and no form is learnt from less
    than a whole packet.
    """
    windows = np.ndarray((len(batch.data) - _WINDOW + 1,), f"V{_WINDOW}", batch.data, strides=(1,))
    octets: U64 = windows[batch.start].view("<u8").reshape(-1, _WORDS)
    for word in _E131_MOVES:
        octets[:, word] &= _E131_MASK[word]
    artnet = np.flatnonzero(octets.view("<u2")[:, _PORT_AT // 2] == _ARTNET_PORT)
    if len(artnet):
        octets[artnet] &= _ARTNET_MASK
    lengths = batch.caplen.astype(np.uint64) << _CAPLEN | batch.wirelen.astype(np.uint64) << _WIRELEN
    octets[:, -1] = lengths | batch.port
    return octets
