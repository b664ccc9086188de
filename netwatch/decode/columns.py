"""Rows in, tables out: decode one batch of packets. No state, no clock, and no bytes that make it raise."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from netwatch.decode import arp, artnet, e131, ipv6, llc
from netwatch.decode.forms import Forms
from netwatch.decode.ip import Datagrams, cast_of, datagrams
from netwatch.decode.link import ARP, IPV4, IPV6, LENGTH_MOST, LLDP, Links, links
from netwatch.decode.sorting import EMPTY, Sorting
from netwatch.decode.tables import Arps, Broken, Column, Decoded, Frames, Kind, Levels, Rare, Syncs
from netwatch.packets.batch import PacketBatch

T = TypeVar("T")

_DHCP_SERVER, _DHCP_CLIENT = 67, 68
"""RFC 2131 4.1; a relay uses the server's port on both sides."""


def decode(batch: PacketBatch, forms: Forms | None = None) -> Decoded:
    """All that the batch holds; each table is in order of row. Nothing behind a packet's captured octets counts.

    With ``forms``, headers that came before are not read again; the answer is the same.
    """
    if forms is None:
        return _read(batch)
    seen = forms.look(batch)
    known = np.flatnonzero(seen.form >= 0)
    if len(known) == batch.rows:
        syncs, arps, rare, broken = (EMPTY[table] for table in (Syncs, Arps, Rare, Broken))
        levels = forms.levels(batch, known, seen.form)
        kinds = forms.kinds(seen)
        return Decoded(forms.frames(seen.form), levels, syncs, arps, rare, broken, {}, seen.form, forms.turn, kinds)
    if len(known):
        decoded = _beside(batch, forms, seen.form, known)
    else:
        decoded = _read(batch)
    new = np.flatnonzero(seen.form[decoded.levels.row] < 0)
    if len(new):
        forms.learn(batch, decoded, seen, new)
    return replace(decoded, form=seen.form[decoded.levels.row], turn=forms.turn)


def _beside(batch: PacketBatch, forms: Forms, form: Column, known: Column) -> Decoded:
    """Rows of a known form, and the others read as usual, put together."""
    others = np.flatnonzero(form < 0)
    rest = _read(batch.chosen(others))
    read = {name: _moved(getattr(rest, name), others) for name in ("levels", "syncs", "arps", "rare", "broken")}
    levels = _in_order(forms.levels(batch, known, form[known]), read.pop("levels"))
    return replace(rest, frames=forms.frames(form, others, rest.frames), levels=levels, **read)


def _in_order(one: Levels, other: Levels) -> Levels:
    """Both, by row."""
    if not len(other.row):
        return one
    order = np.argsort(np.concatenate([one.row, other.row]), kind="stable")
    names = [each.name for each in fields(Levels)]
    return Levels(**{name: np.concatenate([getattr(one, name), getattr(other, name)])[order] for name in names})


def _moved(table: T, rows: Column) -> T:
    """A table of chosen rows, by the numbers that those rows have in their batch."""
    return replace(table, row=rows[table.row].astype(np.int32))  # type: ignore[type-var, attr-defined]


def _read(batch: PacketBatch) -> Decoded:
    """All rows, one as the other."""
    sorting = Sorting(batch)
    link = links(sorting)
    ipv4 = link.type == IPV4
    if ipv4.any():
        _sort_udp(sorting, datagrams(sorting, link, np.flatnonzero(ipv4)))
    if not ipv4.all():
        _sort_others(sorting, link)
    for rows in link.castless:
        link.cast[rows] = cast_of(sorting.dst[rows])
    return Decoded(
        Frames(sorting.kind, link.segment, link.mac, link.to_mac, link.cast, sorting.src, sorting.dst),
        sorting.table(Levels), sorting.table(Syncs), sorting.table(Arps), sorting.table(Rare), sorting.table(Broken),
        sorting.undecoded,
    )  # fmt: skip


def _sort_udp(sorting: Sorting, rest: Datagrams) -> None:
    """By destination port; what is left stays OTHER_IP."""
    if not len(rest.row):
        return
    for port, sort in ((e131.PORT, e131.sort), (artnet.PORT, artnet.sort)):
        mine = rest.dport == port
        if mine.all():
            sort(sorting, rest)
            return
        if mine.any():
            sort(sorting, rest.where(mine))
            rest = rest.where(~mine)
    dhcp = _is_dhcp(rest.sport) | _is_dhcp(rest.dport)
    if dhcp.any():
        found = rest.where(dhcp)
        sorting.rare(found.row, Kind.DHCP, found.at, found.size, (found.sport, found.dport))


def _is_dhcp(port: Column) -> npt.NDArray[np.bool_]:
    return np.equal(port, _DHCP_SERVER) | np.equal(port, _DHCP_CLIENT)


def _sort_others(sorting: Sorting, link: Links) -> None:
    """Whatever isn't IPv4; what is left stays OTHER."""
    for mask, sort in (
        (link.type == ARP, arp.sort),
        (link.type == IPV6, ipv6.sort),
        (link.type == LLDP, _sort_lldp),
        (link.type <= LENGTH_MOST, llc.sort),
    ):
        if mask.any():
            sort(sorting, link, np.flatnonzero(mask))


def _sort_lldp(sorting: Sorting, link: Links, rows: Column) -> None:
    """LLDP has no length field: its data unit reaches to the end of the frame (IEEE 802.1AB 8.2)."""
    sorting.rare(rows, Kind.LLDP, link.at[rows], (sorting.wire_end - link.at)[rows])
