"""What is seen and counted but not read further: MLD, E1.31 over IPv6, the draft of E1.31, other ACN."""

from __future__ import annotations

from netwatch.decode.reader import Head, Reader
from netwatch.decode.tables import Kind, Noticed
from netwatch.decode.text import clean

_MLD = {130: "MLD query", 131: "MLD report", 132: "MLD done", 143: "MLD report"}  # RFC 2710 3, RFC 3810 5
_PACKETS = {(4, 2): "data", (8, 1): "synchronization", (8, 2): "universe discovery"}
"""By root and framing vector (E1.31-2018 App. A)."""
_VECTOR, _FRAMING_VECTOR, _DRAFT_NAME, _DRAFT_UNIVERSE = 18, 40, 44, 78


def read(kind: Kind, reader: Reader, head: Head) -> Noticed:
    """A short word of what it is; as much of it as the bytes allow. Never fails."""
    data = reader.data
    if kind == Kind.MLD:
        detail = _MLD.get(data[0], f"ICMPv6 type {data[0]}") if data else "MLD"
    elif kind == Kind.E131_IPV6:
        packet = _PACKETS.get((_number(data, _VECTOR, 4), _number(data, _FRAMING_VECTOR, 4)), "packet")
        detail = f"E1.31 {packet} over IPv6"
    elif kind == Kind.E131_DRAFT:
        detail = f"draft E1.31 of '{clean(data[_DRAFT_NAME:][:32])}', universe {_number(data, _DRAFT_UNIVERSE, 2)}"
    else:
        detail = f"ACN root vector {_number(data, _VECTOR, 4)}"
    return Noticed(*head, kind=kind, detail=detail)


def _number(data: bytes, at: int, size: int) -> int:
    """A big-endian number; 0 where the bytes end before it does."""
    return int.from_bytes(data[at : at + size], "big") if len(data) >= at + size else 0
