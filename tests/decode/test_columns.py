"""Any bytes in, honest tables out: prefixes, flips, noise behind packets, and how rows are put into batches."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.decode.columns import decode
from netwatch.decode.tables import Decoded, Kind, Levels
from tests.decode.good import DHCP_OFFER, IGMP
from tests.decode.laws import check, columns
from tests.decode.light import ARTNET, E131
from tests.decode.wire import artnet, batch, decoded, e131, ethernet, ipv4, spaced, udp, zeros

LINK_TYPES = (1, 113, 276, 101, 228, 229, 0, 108, 105)
COOKED = bytes.fromhex("0000 0001 0006 020000000001 0000")
HOPS = bytes.fromhex("3a00 0502 0000 0100")  # RFC 2711 in a hop-by-hop header, ICMPv6 behind it
MLD = bytes.fromhex("6000 0000 0020 0001") + bytes(32) + HOPS + bytes([131]) + bytes(23)
V6 = bytes.fromhex("6000 0000 008a 1140") + bytes(32) + udp(E131["data-4"], 5568)
STP = bytes.fromhex("424203 0000 02 02 3c") + bytes(31)
PER_VLAN = bytes.fromhex("aaaa03 00000c 010b 0000 02 02 3c") + bytes(31)

GOOD: dict[str, tuple[bytes, int]] = {
    **{f"e131 {name}": (e131(payload), 1) for name, payload in E131.items()},
    **{f"artnet {name}": (artnet(payload), 1) for name, payload in ARTNET.items()},
    "dhcp": (ethernet(ipv4(udp(DHCP_OFFER, 68, 67))), 1),
    "igmp": (ethernet(ipv4(IGMP["v3 join"], protocol=2, options=b"\x94\x04\0\0")), 1),
    "arp": (ethernet(bytes.fromhex("0001 0800 06 04 0001 020000000001 0a000001 000000000000 0a000002"), 0x0806), 1),
    "mld": (ethernet(MLD, 0x86DD), 1),
    "e131 ipv6": (ethernet(V6, 0x86DD), 1),
    "lldp": (ethernet(bytes.fromhex("0207 04 0277000000fe 0403 07 7031 0602 0078 0000"), 0x88CC), 1),
    "stp": (ethernet(STP, len(STP), bytes.fromhex("0180c2000000")), 1),
    "per vlan stp": (ethernet(PER_VLAN, len(PER_VLAN), bytes.fromhex("01000ccccccd")), 1),
    "tags": (ethernet(ipv4(udp(E131["sync"], 5568)), tags=bytes.fromhex("88a80007 8100000c")), 1),
    "fragment": (ethernet(ipv4(udp(E131["sync"], 5568), fragment=0x2000)), 1),
    "tcp": (ethernet(ipv4(bytes(40), protocol=6)), 1),
    "raw": (ipv4(udp(ARTNET["dmx"], 6454)), 101),
    "null": (b"\2\0\0\0" + ipv4(udp(ARTNET["sync"], 6454)), 0),
    "cooked": (COOKED + b"\x08\0" + ipv4(udp(E131["data-4"], 5568)), 113),
}
"""Frame and link type."""
CUT_REASONS = {"cut before headers", "cut, not judged"}


def plain(tables: Decoded) -> dict[str, Any]:
    """Everything as lists, to be compared."""
    tabs = {f.name: getattr(tables, f.name) for f in fields(tables) if f.name not in ("undecoded", "form", "turn", "kinds")}
    return {
        **{name: {key: column.tolist() for key, column in columns(table).items()} for name, table in tabs.items()},
        "undecoded": tables.undecoded,
    }


def test_each_good_frame_is_of_its_kind() -> None:
    for name, (frame, link_type) in GOOD.items():
        tables = decoded(frame, link_type=link_type)
        assert tables.frames.kind[0] not in (Kind.UNREAD, Kind.BROKEN, Kind.OTHER), name
        assert not tables.undecoded


def test_column_types() -> None:
    """As ``tables.py`` declares them, with rows and without."""
    for tables in (decoded(), decoded(*[frame for frame, link_type in GOOD.values() if link_type == 1])):
        found = {name: str(column.dtype) for name, column in columns(tables.levels).items()}
        assert found == {
            "row": "int32", "protocol": "uint8", "id_hi": "uint64", "id_lo": "uint64", "universe": "uint16",
            "priority": "uint8", "sequence": "uint8", "options": "uint8", "sync": "uint16", "start_code": "uint8",
            "slots": "int32", "at": "int64", "name": "uint64", "name_at": "int64", "faults": "uint32",
        }  # fmt: skip
        assert [str(c.dtype) for c in columns(tables.rare).values()] == [
            "int32", "uint8", "int64", "int32", "bool", "uint16", "uint16",
        ]  # fmt: skip
        assert [str(c.dtype) for c in columns(tables.frames).values()] == [
            "uint8", "uint32", "uint64", "uint64", "uint8", "uint32", "uint32",
        ]  # fmt: skip


@pytest.mark.parametrize("name", list(GOOD))
def test_every_prefix(name: str) -> None:
    frame, link_type = GOOD[name]
    prefixes = [frame[:size] for size in range(len(frame) + 1)]
    own = batch(prefixes, link_type)
    check(own, decode(own))
    cut = batch(prefixes, link_type, wire=len(frame))
    tables = decode(cut)
    check(cut, tables)
    assert not len(tables.broken.row)
    assert set(tables.undecoded) <= CUT_REASONS
    for table in (tables.levels, tables.syncs, tables.arps):  # what a prefix tells is what the whole frame tells
        for key, column in columns(table).items():
            if key not in ("row", "at", "name_at") and len(column):
                assert (column == column[-1]).all(), key


@pytest.mark.parametrize("name", list(GOOD))
def test_every_single_octet_changed(name: str) -> None:
    frame, link_type = GOOD[name]
    reach = min(len(frame), 14 + 28 + 140)
    for flip in (0x01, 0x80, 0xFF):
        packets = batch([frame[:i] + bytes([frame[i] ^ flip]) + frame[i + 1 :] for i in range(reach)], link_type)
        check(packets, decode(packets))


@pytest.mark.parametrize(("name", "port"), [*[(name, 5568) for name in E131], *[(name, 6454) for name in ARTNET]])
def test_octets_behind_the_udp_length_are_not_payload(name: str, port: int) -> None:  # RFC 768
    payload = (E131 if port == 5568 else ARTNET)[name]
    sizes = range(min(len(payload), 240))
    rest = [ethernet(ipv4(udp(payload, port, length=8 + size))) for size in sizes]
    zero = [ethernet(ipv4(udp(payload[:size] + bytes(len(payload) - size), port, length=8 + size))) for size in sizes]
    assert plain(decoded(*rest)) == plain(decoded(*zero))


frames = st.sampled_from([frame for frame, _ in GOOD.values()])
changes = st.lists(st.tuples(st.integers(0, 170), st.integers(0, 255)), max_size=3)


@st.composite
def hurt(draw: st.DrawFn) -> tuple[bytes, int]:
    """A good frame with some octets changed, perhaps cut, perhaps by the capture; or any bytes. With its wire length."""
    if draw(st.integers(0, 9)) == 0:
        noise = draw(st.binary(max_size=120))
        return noise, len(noise) + draw(st.integers(0, 2)) * 50
    frame = bytearray(draw(frames))
    for at, value in draw(changes):
        if at < len(frame):
            frame[at] = value
    size = draw(st.one_of(st.just(len(frame)), st.integers(0, len(frame))))
    return bytes(frame[:size]), draw(st.sampled_from([len(frame), size]))


link_types = st.one_of(st.just((1,)), st.lists(st.sampled_from(LINK_TYPES), min_size=1, max_size=4).map(tuple))


@settings(max_examples=150, deadline=None)
@given(st.lists(hurt(), max_size=12), link_types)
def test_any_bytes(packets: list[tuple[bytes, int]], types: tuple[int, ...]) -> None:
    rows = spaced(packets or [(b"", 0)], zeros(max(len(packets), 1)), types)
    check(rows, decode(rows))


@settings(max_examples=150, deadline=None)
@given(st.lists(hurt(), min_size=1, max_size=8), link_types, st.integers(0, 2**32), st.sampled_from([1, 9, 64, 300]))
def test_noise_behind_packets_changes_nothing(
    packets: list[tuple[bytes, int]], types: tuple[int, ...], seed: int, gap: int
) -> None:
    sizes = [gap] * (len(packets) - 1) + [300]
    noise = np.random.default_rng(seed)
    quiet = decode(spaced(packets, [bytes(size) for size in sizes], types))
    assert plain(decode(spaced(packets, [noise.bytes(size) for size in sizes], types))) == plain(quiet)
    assert plain(decode(spaced(packets, [b"\xff" * size for size in sizes], types))) == plain(quiet)


@pytest.mark.parametrize("name", list(GOOD))
def test_noise_behind_every_prefix(name: str) -> None:
    """Noise that goes on just as the frame would have: the rest of it, in zeros and as it was."""
    frame, link_type = GOOD[name]
    packets = [(frame[:size], len(frame)) for size in range(len(frame))]
    rest = [frame[size:] for size in range(len(frame))]
    rest[-1] += bytes(300)
    quiet = spaced(packets, [bytes(len(gap)) for gap in rest], (link_type,))
    assert plain(decode(spaced(packets, rest, (link_type,)))) == plain(decode(quiet))


@settings(max_examples=60, deadline=None)
@given(st.lists(hurt(), min_size=1, max_size=10), link_types)
def test_one_batch_or_many(packets: list[tuple[bytes, int]], types: tuple[int, ...]) -> None:
    """Rows decoded alone are the same as rows decoded together."""
    together = spaced(packets, zeros(len(packets)), types)
    whole = plain(decode(together))
    reasons: dict[str, int] = {}
    for row, packet in enumerate(packets):
        start = int(together.start[row])
        tables = plain(decode(spaced([packet], zeros(1), (types[row % len(types)],))))
        tables["frames"]["segment"][0] |= row % len(types) << 24
        for name in ("levels", "syncs", "arps", "rare", "broken"):
            here = [i for i, r in enumerate(whole[name]["row"]) if r == row]
            for key, column in tables[name].items():
                moved = row if key == "row" else start if key in ("at", "name_at") else 0
                assert [whole[name][key][i] for i in here] == [v + moved if v is not False and v != -1 else v for v in column]
        assert {key: column[row] for key, column in whole["frames"].items()} == {
            key: column[0] for key, column in tables["frames"].items()
        }
        for reason, count in tables["undecoded"].items():
            reasons[reason] = reasons.get(reason, 0) + count
    assert whole["undecoded"] == reasons


def test_empty_batch() -> None:
    tables = decoded()
    assert isinstance(tables.levels, Levels)
    assert plain(tables)["undecoded"] == {}
    assert not len(tables.frames.kind)
