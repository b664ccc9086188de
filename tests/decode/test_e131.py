"""E1.31 columns against ANSI E1.31-2018 and the packets of two public sender libraries."""

from __future__ import annotations

from uuid import UUID

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyartnet import SacnNode
from sacn.messages.data_packet import DataPacket
from sacn.messages.sync_packet import SyncPacket
from sacn.messages.universe_discovery import UniverseDiscoveryPacket

from netwatch.decode.columns import decode
from netwatch.decode.tables import E131 as PROTOCOL
from netwatch.decode.tables import Decoded, Fault, Kind, Levels
from tests.decode.light import E131, SLOTS_512, changed
from tests.decode.wire import batch, decoded, e131, ethernet, ipv4, kinds, udp

CID = UUID("6f1c2d3e-4a5b-4c6d-8e7f-0a1b2c3d5f01")
DATA = E131["data-4"]


def one(payload: bytes, dst: str = "239.255.0.1") -> tuple[Levels, bytes]:
    """The only frame of levels, and its slots."""
    packets = batch([e131(payload, dst)])
    levels = decode(packets).levels
    assert len(levels.row) == 1
    at = int(levels.at[0])
    return levels, packets.data[at : at + int(levels.slots[0])].tobytes()


def cid_of(table: Levels) -> UUID:
    return UUID(int=int(table.id_hi[0]) << 64 | int(table.id_lo[0]))


def faults(levels: Levels) -> set[Fault]:
    return {fault for fault in Fault if int(levels.faults[0]) >> fault & 1}


def broken(payload: bytes) -> Fault:
    """Why it is discarded; nothing else may be said of it."""
    tables = decoded(e131(payload))
    assert Kind(tables.frames.kind[0]) is Kind.BROKEN
    assert tables.broken.protocol.tolist() == [PROTOCOL]
    assert not len(tables.levels.row) + len(tables.syncs.row) + len(tables.rare.row)
    return Fault(tables.broken.fault[0])


def test_data_packet() -> None:  # tables 4-1 and 5-4
    levels, slots = one(DATA)
    assert slots == bytes([255, 128, 1, 0])
    assert cid_of(levels) == CID
    assert (levels.protocol[0], levels.universe[0], levels.priority[0], levels.sequence[0]) == (PROTOCOL, 1, 100, 154)
    assert (levels.options[0], levels.sync[0], levels.start_code[0], levels.slots[0]) == (0, 0, 0, 4)
    assert faults(levels) == set()


def test_full_universe() -> None:  # the lengths 0x726E, 0x7258, 0x720B are printed in table B-13
    levels, slots = one(E131["data-512"], "239.255.249.255")
    assert slots == SLOTS_512
    assert (levels.universe[0], levels.priority[0], levels.sync[0], levels.sequence[0]) == (63_999, 200, 7962, 255)
    assert (levels.options[0], levels.slots[0]) == (0x20, 512)
    assert faults(levels) == set()


def test_preview_with_its_name() -> None:
    packets = batch([e131(E131["data-preview"], "239.255.1.44")])
    levels = decode(packets).levels
    at = int(levels.name_at[0])
    assert packets.data[at : at + 11].tobytes() == "Vorschau é".encode()
    assert (levels.options[0], levels.universe[0], levels.priority[0], levels.slots[0]) == (0x80, 300, 0, 2)
    assert faults(levels) == set()


def test_start_code_dd_end_of_stream_and_no_slots() -> None:
    levels, slots = one(E131["data-dd"])
    assert (levels.start_code[0], slots) == (0xDD, bytes([100, 0, 200, 1]))
    levels, _ = one(E131["data-term"])
    assert (levels.options[0], levels.sequence[0]) == (0x40, 156)
    levels, slots = one(E131["data-0"])
    assert (levels.slots[0], levels.start_code[0], slots) == (0, 0, b"")
    assert faults(levels) == set()


def test_synchronization_packet() -> None:  # table 4-2; its lengths are printed in table B-14
    syncs = decoded(e131(E131["sync"], "239.255.31.26")).syncs
    assert (syncs.protocol[0], syncs.address[0], syncs.sequence[0]) == (PROTOCOL, 7962, 111)
    assert UUID(int=int(syncs.id_hi[0]) << 64 | int(syncs.id_lo[0])) == CID


def test_framing_vector_means_something_else_under_each_root_vector() -> None:  # Appendix A
    names = ("data-4", "sync", "disc-3", "disc-0", "draft")
    assert kinds(*[e131(E131[name]) for name in names]) == [
        Kind.E131_DATA, Kind.E131_SYNC, Kind.E131_DISCOVERY, Kind.E131_DISCOVERY, Kind.E131_DRAFT,
    ]  # fmt: skip


def test_rare_ones_are_pointed_at() -> None:
    packets = batch([e131(E131[name]) for name in ("data-4", "disc-3", "draft")])
    rare = decode(packets).rare
    assert rare.row.tolist() == [1, 2]
    for i, name in enumerate(("disc-3", "draft")):
        at, size = int(rare.at[i]), int(rare.size[i])
        assert packets.data[at : at + size].tobytes() == E131[name]
    assert (rare.sport.tolist(), rare.dport.tolist(), rare.cut.tolist()) == ([5568] * 2, [5568] * 2, [False] * 2)


@pytest.mark.parametrize(
    ("at", "value", "fault"),
    [
        (1, 0x11, Fault.E131_PREAMBLE),  # 5.1
        (3, 0x01, Fault.E131_POSTAMBLE),  # 5.2
        (43, 0x03, Fault.E131_FRAMING_VECTOR),  # 6.5
        (117, 0x01, Fault.DMP_VECTOR),  # 7.2
        (118, 0xA2, Fault.DMP_TYPE),  # 7.3
        (120, 0x01, Fault.DMP_FIRST),  # 7.4
        (122, 0x02, Fault.DMP_INCREMENT),  # 7.5
        (124, 0x00, Fault.COUNT_RANGE),  # table 4-1: 0x0001 to 0x0201
        (123, 0x03, Fault.COUNT_RANGE),
        (124, 0x06, Fault.TOO_SHORT),  # 6 announced, 5 there: derived
    ],
)
def test_receiver_must_discard(at: int, value: int, fault: Fault) -> None:
    assert broken(changed(DATA, at, value)) is fault


def test_first_fault_in_the_order_of_the_standard() -> None:
    assert broken(changed(changed(DATA, 1, 0x11), 117, 0x01)) is Fault.E131_PREAMBLE
    assert broken(changed(changed(DATA, 118, 0xA2), 122, 0x02)) is Fault.DMP_TYPE
    assert broken(changed(changed(E131["data-0"], 124, 0x02), 117, 0x01)) is Fault.DMP_VECTOR


def test_data_cut_by_its_sender() -> None:  # 5 announced, 3 there: derived from 7.6
    assert broken(DATA[:128]) is Fault.TOO_SHORT
    for size in (16, 21, 22, 43, 44, 125):
        assert broken(DATA[:size]) is Fault.TOO_SHORT
    assert broken(E131["sync"][:48]) is Fault.TOO_SHORT
    assert broken(E131["disc-0"][:119]) is Fault.TOO_SHORT


def test_not_acn_is_other_traffic() -> None:  # 5.3
    assert kinds(e131(changed(DATA, 12, 0x36))) == [Kind.OTHER_IP]
    assert kinds(e131(DATA[:15])) == [Kind.OTHER_IP]
    assert kinds(e131(b"")) == [Kind.OTHER_IP]


@pytest.mark.parametrize("vector", [1, 5, 9, 0x100])
def test_other_acn_protocols_are_left_alone(vector: int) -> None:  # 5.5; E1.17-2015 SDT has root vector 1
    tables = decoded(e131(changed(DATA, 18, *vector.to_bytes(4))))
    assert tables.rare.kind.tolist() == [Kind.ACN_OTHER]
    assert not len(tables.broken.row)


def test_draft_needs_both_vectors() -> None:  # root vector 3 with framing vector 2: public listings
    assert kinds(e131(changed(E131["draft"], 43, 1))) == [Kind.ACN_OTHER]


def test_sync_to_address_zero_is_ignored_by_receivers() -> None:  # 6.3.3.1
    assert broken(changed(E131["sync"], 45, 0, 0)) is Fault.SYNC_ADDRESS_ZERO


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        (changed(DATA, 108, 200), set()),
        (changed(DATA, 108, 201), {Fault.PRIORITY_RANGE}),  # 6.2.3
        (changed(DATA, 113, 0, 0), {Fault.UNIVERSE_RANGE, Fault.WRONG_GROUP}),  # 6.2.7, to the group of universe 1
        (changed(DATA, 113, 0xFA, 0), {Fault.UNIVERSE_RANGE, Fault.WRONG_GROUP}),
        (changed(DATA, 113, 0xF9, 0xFF), {Fault.WRONG_GROUP}),
        (changed(DATA, 44, *b"x" * 64), {Fault.NAME_UNENDED}),  # 6.2.2
        (changed(DATA, 44, *b"x" * 63), set()),
        (changed(DATA, 44, *b"\0" + b"x" * 63), set()),  # ended, though something stands behind the end
        (DATA + bytes(4), {Fault.LENGTHS}),
        (changed(DATA, 17, 0x71), {Fault.LENGTHS}),  # 5.4
        (changed(DATA, 39, 0x5D), {Fault.LENGTHS}),  # 6.1
        (changed(DATA, 116, 0x0E), {Fault.LENGTHS}),  # 7.1
        (changed(DATA, 16, 0x60), {Fault.LENGTHS}),  # flags other than 0x7 (5.4)
        (changed(DATA, 124, 0x04), {Fault.LENGTHS}),
        (E131["data-0"] + b"\0", {Fault.LENGTHS}),
    ],
)
def test_decoded_and_reported(payload: bytes, expected: set[Fault]) -> None:
    levels, _ = one(payload)
    assert faults(levels) == expected


def test_reserved_option_bits_are_ignored() -> None:  # 6.2.6
    levels, _ = one(changed(DATA, 112, 0x1F))
    assert (levels.options[0], faults(levels)) == (0, set())


def test_universe_is_in_the_packet_not_in_the_group() -> None:  # 9.1.1, table 9-10
    levels, _ = one(DATA, "239.255.0.2")
    assert (levels.universe[0], faults(levels)) == (1, {Fault.WRONG_GROUP})
    for dst in ("239.255.0.1", "10.0.0.9", "255.255.255.255"):  # unicast is allowed (9.1.1), and no group is wrong there
        assert faults(one(DATA, dst)[0]) == set()


def test_name_fingerprint_changes_with_any_octet_and_only_then() -> None:
    names = decoded(e131(DATA), e131(changed(DATA, 126, 9)), *[e131(changed(DATA, 44 + i, 0xEE)) for i in range(64)])
    fingerprints = names.levels.name.tolist()
    assert fingerprints[0] == fingerprints[1]
    assert len(set(fingerprints)) == 65


def test_what_the_capture_cut_is_never_broken() -> None:
    whole = e131(E131["data-512"])
    head = 14 + 20 + 8
    tables = decoded(whole[: head + 126], whole[: head + 637], wire=len(whole))
    assert tables.levels.slots.tolist() == [512, 512]
    assert tables.levels.at.tolist() == [-1, -1]
    tables = decoded(whole[: head + 125], whole[: head + 44], wire=len(whole))  # vectors known, not all fields
    assert tables.frames.kind.tolist() == [Kind.E131_DATA] * 2
    tables2 = decoded(whole[: head + 43], whole[: head + 15], whole[:40], wire=len(whole))
    assert tables2.frames.kind.tolist() == [Kind.UNREAD] * 3
    assert [tables.undecoded, tables2.undecoded] == [{"cut before headers": 2}, {"cut before headers": 3}]
    tables = decoded(e131(changed(E131["data-512"], 117, 1))[: head + 200], wire=len(whole))
    assert (tables.frames.kind.tolist(), tables.undecoded) == ([Kind.UNREAD], {"cut, not judged": 1})
    assert not len(tables.broken.row) + len(tables.levels.row)


def test_rows_that_differ_keep_their_order() -> None:
    names = ("sync", "data-4", "disc-3", "data-4", "sync", "data-0")
    tables = decoded(*[e131(E131[name]) for name in names], e131(changed(DATA, 1, 0)), e131(changed(DATA, 117, 0)))
    assert tables.levels.row.tolist() == [1, 3, 5]
    assert tables.syncs.row.tolist() == [0, 4]
    assert tables.rare.row.tolist() == [2]
    assert tables.broken.row.tolist() == [6, 7]
    assert tables.broken.fault.tolist() == [Fault.E131_PREAMBLE, Fault.DMP_VECTOR]


cids = st.binary(min_size=16, max_size=16)
names = st.text(st.characters(min_codepoint=1, exclude_categories=["Cs"]), max_size=20).filter(lambda s: len(s.encode()) < 64)
universes = st.integers(1, 63_999)
octet = st.integers(0, 255)


@settings(max_examples=100, deadline=None)
@given(cids, names, universes, st.binary(max_size=512), st.integers(0, 200), octet, st.integers(0, 7), universes, octet)
def test_data_made_by_the_sacn_library(
    cid: bytes, name: str, universe: int, slots: bytes, priority: int, sequence: int, bits: int, sync: int, code: int
) -> None:
    slots = slots.ljust(512, b"\0")  # the library knows full universes only
    packet = DataPacket(
        tuple(cid), name, universe, tuple(slots), priority, sequence, bool(bits & 2), bool(bits & 4), bool(bits & 1), sync,
        code,
    )  # fmt: skip
    levels, seen = one(bytes(packet.getBytes()), packet.calculate_multicast_addr())
    assert seen == slots
    assert cid_of(levels).bytes == cid
    assert (levels.universe[0], levels.priority[0], levels.sequence[0]) == (universe, priority, sequence)
    assert (levels.options[0], levels.sync[0], levels.start_code[0]) == (bits << 5, sync, code)
    assert faults(levels) == set()


@settings(max_examples=30, deadline=None)
@given(cids, universes, octet, st.lists(universes, max_size=512))
def test_sync_and_discovery_made_by_the_sacn_library(cid: bytes, address: int, sequence: int, listed: list[int]) -> None:
    sync = bytes(SyncPacket(tuple(cid), address, sequence).getBytes())
    discovery = bytes(UniverseDiscoveryPacket(tuple(cid), "mill pond", tuple(listed)).getBytes())
    tables = decoded(e131(sync), e131(discovery))
    assert (tables.syncs.address[0], tables.syncs.sequence[0]) == (address, sequence)
    assert int(tables.syncs.id_hi[0]).to_bytes(8) + int(tables.syncs.id_lo[0]).to_bytes(8) == cid
    assert (tables.rare.kind.tolist(), tables.rare.size.tolist()) == ([Kind.E131_DISCOVERY], [len(discovery)])


async def test_packets_of_the_pyartnet_library(monkeypatch: pytest.MonkeyPatch) -> None:
    node = SacnNode.create("127.0.0.1", name="orchard")
    sent: list[bytes] = []
    monkeypatch.setattr(node, "_send_data", lambda data, *_: sent.append(bytes(node._packet_base) + bytes(data)))
    universe = node._create_universe(300)
    for size in (1, 24, 511, 512):
        node._send_universe(300, size, bytearray(range(256)) * 2 if size == 512 else bytearray(size), universe)
    node.set_synchronous_mode(True, 7962)
    node._send_synchronization()
    tables = decoded(*[e131(packet, "239.255.1.44") for packet in sent])
    assert tables.levels.slots.tolist() == [1, 24, 511, 512]
    assert tables.levels.universe.tolist() == [300] * 4
    assert np.ptp(tables.levels.sequence.astype(int)) == 3
    assert not tables.levels.faults.any()
    assert tables.syncs.address.tolist() == [7962]


def test_tags_and_ip_options_move_the_payload() -> None:
    body = ipv4(udp(DATA, 5568), dst="239.255.0.1", options=b"\x94\x04\0\0")  # router alert, RFC 2113
    tables: Decoded = decoded(ethernet(body, tags=bytes.fromhex("88a80007 8100000c")), e131(DATA))
    assert tables.levels.universe.tolist() == [1, 1]
    assert tables.frames.segment.tolist() == [7 << 12 | 12, 0]
    assert not tables.levels.faults.any()
