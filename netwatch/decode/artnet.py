"""Art-Net: levels and ArtSync as columns, all other OpCodes by kind (Art-Net 4, revision 1.4di; pages are those of its text)."""

from __future__ import annotations

import numpy as np

from netwatch.decode.ip import Datagrams
from netwatch.decode.sorting import CUT, NO_FAULT, Action, Sorting, fault_bits, first_fault, first_that_holds
from netwatch.decode.tables import ARTNET, Column, Fault, Kind, Levels, Syncs
from netwatch.decode.windows import Header, layout, pick, read

PORT = 6454

_SIZE = 18
# p.60 and p.67. The OpCode and the Port-Address come low octet first, version and length high octet first. Where ArtDmx has
# Physical, ArtNzs has its START code.
_HEADER = layout(
    _SIZE,
    id=(0, ">u8"), opcode=(8, "<u2"), version=(10, ">u2"), sequence=(12, "u1"), physical=(13, "u1"),
    port_address=(14, "<u2"), length=(16, ">u2"),
)  # fmt: skip
_ID = int.from_bytes(b"Art-Net\0")
_ID_STOP, _OPCODE_STOP, _VERSION_STOP = 8, 10, 12

_POLL, _REPLY, _DMX, _NZS, _SYNC = 0x2000, 0x2100, 0x5000, 0x5100, 0x5200
_RDM_FAMILY = (0x8000, 0x8100, 0x8200, 0x8300, 0x8400)
"""Table 1: ArtTodRequest, ArtTodData, ArtTodControl, ArtRdm, ArtRdmSub."""
_LEAST = {_POLL: 14, _REPLY: 207, _DMX: 18, _NZS: 18, _SYNC: 14}
"""Octets that the packet must have (p.16, p.24, p.61, p.65, p.67)."""

_VERSION = 14
_LENGTH_MOST = 512
_PORT_ADDRESS_MOST = 0x7FFF


def sort(sorting: Sorting, datagrams: Datagrams) -> None:
    """All datagrams to port 6454, by OpCode."""
    header = read(sorting.data, datagrams.at, _HEADER)
    opcode = header["opcode"]
    plain = (header["id"] == _ID) & (header["version"] >= _VERSION)
    levels = plain & ((opcode == _DMX) | (opcode == _NZS)) & (datagrams.held >= _LEAST[_DMX])
    if levels.all():
        _levels(sorting, datagrams, header)
        return
    sync = plain & (opcode == _SYNC) & (datagrams.held >= _LEAST[_SYNC])
    for mask, action in ((levels, _levels), (sync, _sync), (~levels & ~sync, _others)):
        if mask.any():
            action(sorting, datagrams.where(mask), pick(header, mask))


def _levels(sorting: Sorting, datagrams: Datagrams, header: Header) -> None:
    """ArtDmx and ArtNzs with all fixed fields there."""
    length = header["length"].astype(np.int64)
    fault = first_fault([
        (Fault.COUNT_RANGE, (length < 1) | (length > _LENGTH_MOST)),
        (Fault.TOO_SHORT, length > datagrams.size - _SIZE),  # a longer datagram is legal (p.11)
    ])  # fmt: skip
    if fault is not None:
        good = fault == NO_FAULT
        sorting.discard(ARTNET, datagrams.row[~good], fault[~good])
        datagrams, header, length = datagrams.where(good), pick(header, good), length[good]
    dmx = header["opcode"] == _DMX
    port_address = header["port_address"]
    faults = [
        (Fault.ODD_LENGTH, dmx & (length & 1 != 0)),  # p.61; ArtNzs may be odd (p.67)
        (Fault.PORT_ADDRESS_BIT, port_address > _PORT_ADDRESS_MOST),
    ]
    sorting.kind[datagrams.row] = Kind.ARTNET_LEVELS
    sorting.add(Levels, {
        "row": datagrams.row, "protocol": ARTNET, "id_hi": datagrams.src,
        "id_lo": np.where(dmx, header["physical"], 0), "universe": port_address & _PORT_ADDRESS_MOST,
        "priority": 0, "sequence": header["sequence"], "options": 0, "sync": 0,
        "start_code": np.where(dmx, 0, header["physical"]), "slots": length,
        "at": np.where(datagrams.held >= length + _SIZE, datagrams.at + _SIZE, -1),
        "name": 0, "name_at": -1, "faults": fault_bits(faults, len(header)),
    })  # fmt: skip


def _sync(sorting: Sorting, datagrams: Datagrams, header: Header) -> None:
    """ArtSync (p.64): it says only that it is there."""
    sorting.kind[datagrams.row] = Kind.ARTNET_SYNC
    sorting.add(Syncs, {
        "row": datagrams.row, "protocol": ARTNET, "id_hi": datagrams.src, "id_lo": 0, "address": 0, "sequence": 0,
    })  # fmt: skip


def _others(sorting: Sorting, datagrams: Datagrams, header: Header) -> None:
    """Everything else: for each datagram the first line that holds."""
    row, size, held, opcode = datagrams.row, datagrams.size, datagrams.held, header["opcode"]
    too_short = _too_short(datagrams, opcode)
    versioned = (opcode != _REPLY) & (held >= _VERSION_STOP)  # an ArtPollReply has no version (p.24)

    def rare(kind: Kind) -> Action:
        return lambda mine: _rare(sorting, datagrams.where(mine), kind)

    def short(kind: Kind) -> Action:
        return lambda mine: sorting.too_short(ARTNET, row[mine], kind)

    first_that_holds([
        ((held < _ID_STOP) & (size >= _ID_STOP), lambda mine: sorting.leave(row[mine], CUT)),
        ((header["id"] != _ID) | (held < _ID_STOP), None),  # not Art-Net (p.93): stays OTHER_IP
        (held < _OPCODE_STOP, short(Kind.UNREAD)),
        (too_short & (opcode == _POLL), short(Kind.ARTNET_POLL)),
        (too_short & (opcode == _REPLY), short(Kind.ARTNET_REPLY)),
        (too_short & ((opcode == _DMX) | (opcode == _NZS)), short(Kind.ARTNET_LEVELS)),
        (too_short & (opcode == _SYNC), short(Kind.ARTNET_SYNC)),
        (versioned & (header["version"] < _VERSION), lambda mine: sorting.discard(ARTNET, row[mine], Fault.ARTNET_VERSION)),
        (opcode == _POLL, rare(Kind.ARTNET_POLL)),
        (opcode == _REPLY, rare(Kind.ARTNET_REPLY)),
        (np.isin(opcode, _RDM_FAMILY), rare(Kind.ARTNET_RDM)),
        (size < _VERSION_STOP, short(Kind.ARTNET_OTHER)),
        (held > 0, rare(Kind.ARTNET_OTHER)),
    ])  # fmt: skip


def _too_short(datagrams: Datagrams, opcode: Column) -> Column:
    """Ends before its fixed fields; levels and sync are columns, so what isn't captured counts as not there."""
    short = np.zeros(len(opcode), np.bool_)
    for number, least in _LEAST.items():
        octets = datagrams.size if number in (_POLL, _REPLY) else datagrams.held
        short |= (opcode == number) & (octets < least)
    return short


def _rare(sorting: Sorting, datagrams: Datagrams, kind: Kind) -> None:
    sorting.rare(datagrams.row, kind, datagrams.at, datagrams.size, (datagrams.sport, datagrams.dport))
