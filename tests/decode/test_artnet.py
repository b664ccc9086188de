"""Art-Net columns against Art-Net 4 (revision 1.4di) and the packets of two public sender libraries."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
from pyartnet import ArtNetNode
from stupidArtnet import StupidArtnet

from netwatch.decode.columns import decode
from netwatch.decode.tables import ARTNET as PROTOCOL
from netwatch.decode.tables import UNICAST, Fault, Kind, Levels
from tests.decode.light import ARTNET, SLOTS_512, changed
from tests.decode.wire import artnet, batch, decoded, kinds

DMX = ARTNET["dmx"]
SRC = 0x0A000001


def one(payload: bytes, dst: str = "10.0.0.2") -> tuple[Levels, bytes]:
    """The only frame of levels, and its slots."""
    packets = batch([artnet(payload, dst)])
    levels = decode(packets).levels
    assert len(levels.row) == 1
    at = int(levels.at[0])
    return levels, packets.data[at : at + int(levels.slots[0])].tobytes()


def faults(levels: Levels) -> set[Fault]:
    return {fault for fault in Fault if int(levels.faults[0]) >> fault & 1}


def broken(payload: bytes) -> Fault:
    """Why it is discarded; nothing else may be said of it."""
    tables = decoded(artnet(payload))
    assert Kind(tables.frames.kind[0]) is Kind.BROKEN
    assert tables.broken.protocol.tolist() == [PROTOCOL]
    assert not len(tables.levels.row) + len(tables.syncs.row) + len(tables.rare.row)
    return Fault(tables.broken.fault[0])


def test_levels() -> None:  # p.60
    levels, slots = one(DMX)
    assert slots == bytes([255, 0, 128, 64, 1, 2, 3, 4])
    assert (levels.protocol[0], levels.universe[0], levels.sequence[0], levels.slots[0]) == (PROTOCOL, 293, 17, 8)
    assert (levels.id_hi[0], levels.id_lo[0], levels.start_code[0], levels.name_at[0]) == (SRC, 0, 0, -1)
    assert (levels.priority[0], levels.options[0], levels.sync[0], levels.name[0]) == (0, 0, 0, 0)
    assert faults(levels) == set()
    assert one(changed(DMX, 13, 3))[0].id_lo[0] == 3  # two inputs of one address are two sources (p.62)


def test_full_universe() -> None:
    levels, slots = one(ARTNET["dmx-512"])
    assert slots == SLOTS_512
    assert (levels.universe[0], levels.sequence[0], faults(levels)) == (32_767, 0, set())


def test_other_start_codes() -> None:  # p.66
    levels, slots = one(ARTNET["nzs"])
    assert slots == b"\1\0Hello\0"
    assert (levels.start_code[0], levels.id_lo[0], levels.universe[0], levels.sequence[0]) == (0x17, 0, 0, 1)
    assert faults(one(changed(ARTNET["nzs"], 17, 7))[0]) == set()  # 1 to 512, odd too (p.67)


def test_sync() -> None:  # p.64
    syncs = decoded(artnet(ARTNET["sync"], "10.255.255.255")).syncs
    assert (syncs.protocol[0], syncs.id_hi[0], syncs.id_lo[0], syncs.address[0]) == (PROTOCOL, SRC, 0, 0)


KINDS = {
    "poll-22": Kind.ARTNET_POLL, "poll-14": Kind.ARTNET_POLL, "pollreply": Kind.ARTNET_REPLY, "dmx": Kind.ARTNET_LEVELS,
    "dmx-512": Kind.ARTNET_LEVELS, "nzs": Kind.ARTNET_LEVELS, "sync": Kind.ARTNET_SYNC,
    "todrequest": Kind.ARTNET_RDM, "toddata": Kind.ARTNET_RDM, "todcontrol": Kind.ARTNET_RDM, "rdm": Kind.ARTNET_RDM,
    "rdmsub": Kind.ARTNET_RDM,
}  # fmt: skip


@pytest.mark.parametrize("name", list(ARTNET))
def test_kind_by_opcode(name: str) -> None:  # table 1
    packets = batch([artnet(ARTNET[name])])
    tables = decode(packets)
    kind = KINDS.get(name, Kind.ARTNET_OTHER)
    assert tables.frames.kind.tolist() == [kind]
    if kind not in (Kind.ARTNET_LEVELS, Kind.ARTNET_SYNC):
        rare = tables.rare
        at, size = int(rare.at[0]), int(rare.size[0])
        assert packets.data[at : at + size].tobytes() == ARTNET[name]
        assert (rare.kind[0], rare.sport[0], rare.dport[0], rare.cut[0]) == (kind, 6454, 6454, False)


@pytest.mark.parametrize(
    ("payload", "fault"),
    [
        (changed(DMX, 11, 13), Fault.ARTNET_VERSION),  # p.17
        (changed(ARTNET["sync"], 11, 13), Fault.ARTNET_VERSION),
        (changed(ARTNET["poll-14"], 11, 13), Fault.ARTNET_VERSION),
        (changed(ARTNET["rdm"], 10, 0, 0), Fault.ARTNET_VERSION),
        (changed(DMX, 17, 9), Fault.TOO_SHORT),  # 9 announced, 8 there: derived
        (changed(DMX, 16, 2, 2), Fault.COUNT_RANGE),  # 514 (p.61)
        (changed(DMX, 16, 0, 0), Fault.COUNT_RANGE),
        (changed(ARTNET["nzs"], 16, 0, 0), Fault.COUNT_RANGE),
        (DMX[:17], Fault.TOO_SHORT),
        (ARTNET["sync"][:13], Fault.TOO_SHORT),
        (ARTNET["poll-14"][:13], Fault.TOO_SHORT),  # p.16
        (ARTNET["pollreply"][:206], Fault.TOO_SHORT),  # p.24
        (ARTNET["timecode"][:11], Fault.TOO_SHORT),
        (ARTNET["timecode"][:9], Fault.TOO_SHORT),
    ],
)
def test_receiver_must_discard(payload: bytes, fault: Fault) -> None:
    assert broken(payload) is fault


@pytest.mark.parametrize(
    ("payload", "slots", "universe", "expected"),
    [
        (changed(DMX, 17, 7), 7, 293, {Fault.ODD_LENGTH}),  # p.61; the surplus octet is ignored (p.11)
        (changed(DMX, 15, 0x81), 8, 293, {Fault.PORT_ADDRESS_BIT}),  # p.8
        (DMX + bytes(4), 8, 293, set()),  # p.11
        (changed(DMX, 10, 1, 0), 8, 293, set()),  # any version from 14 on
    ],
)
def test_decoded_and_reported(payload: bytes, slots: int, universe: int, expected: set[Fault]) -> None:
    levels, _ = one(payload)
    assert (levels.slots[0], levels.universe[0], faults(levels)) == (slots, universe, expected)


def test_not_artnet() -> None:  # p.93
    assert kinds(artnet(changed(DMX, 7, 1)), artnet(DMX[:7]), artnet(b"")) == [Kind.OTHER_IP] * 3


def test_opcode_with_its_octets_swapped_is_an_unknown_one() -> None:
    assert kinds(artnet(changed(DMX, 8, 0x50, 0x00))) == [Kind.ARTNET_OTHER]


def test_short_reply_of_old_devices() -> None:  # p.24: valid from 207 octets; it has no version field
    reply = changed(ARTNET["pollreply"], 10, 0, 9)
    assert kinds(artnet(reply[:207]), artnet(reply)) == [Kind.ARTNET_REPLY] * 2


def test_padding_of_ethernet_is_no_payload() -> None:
    assert len(artnet(ARTNET["poll-14"])) == 60
    assert decoded(artnet(ARTNET["poll-14"])).rare.size.tolist() == [14]


def test_levels_to_everybody() -> None:  # not allowed (p.58), decoded all the same
    tables = decoded(artnet(DMX, "10.255.255.255"))
    assert len(tables.levels.row) == 1
    assert tables.frames.cast.tolist() == [UNICAST]  # by the MAC


def test_what_the_capture_cut_is_never_broken() -> None:
    whole, head = artnet(ARTNET["dmx-512"]), 14 + 20 + 8
    tables = decoded(whole[: head + 18], whole[: head + 529], wire=len(whole))
    assert (tables.levels.at.tolist(), tables.levels.slots.tolist()) == ([-1, -1], [512, 512])
    tables = decoded(whole[: head + 17], whole[: head + 10], whole[: head + 9], whole[: head + 7], wire=len(whole))
    assert tables.frames.kind.tolist() == [Kind.ARTNET_LEVELS] * 2 + [Kind.UNREAD] * 2
    assert tables.undecoded == {"cut before headers": 4}
    whole = artnet(ARTNET["pollreply"])
    tables = decoded(whole[: head + 100], wire=len(whole))
    assert (tables.rare.kind[0], tables.rare.size[0], tables.rare.cut[0]) == (Kind.ARTNET_REPLY, 100, True)


@pytest.fixture
def sender() -> Iterator[StupidArtnet]:
    sender = StupidArtnet("127.0.0.1", packet_size=512)
    yield sender
    sender.stop()


def test_packets_of_the_stupidartnet_library(sender: StupidArtnet) -> None:
    chosen = random.Random(4)
    sender.set_simplified(False)
    for _ in range(40):
        net, subnet, universe = chosen.randrange(128), chosen.randrange(16), chosen.randrange(16)
        sender.set_net(net)
        sender.set_subnet(subnet)
        sender.set_universe(universe)
        slots = chosen.randbytes(2 * chosen.randint(1, 256))
        sender.set_packet_size(len(slots))
        sender.set(slots)
        levels, seen = one(bytes(sender.packet_header + sender.buffer))
        assert seen == slots
        assert levels.universe[0] == net << 8 | subnet << 4 | universe
        assert faults(levels) == set()
    sender.artsync_header = bytearray()
    sender.make_artsync_header()
    assert kinds(artnet(bytes(sender.artsync_header))) == [Kind.ARTNET_SYNC]


async def test_packets_of_the_pyartnet_library(monkeypatch: pytest.MonkeyPatch) -> None:
    node = ArtNetNode.create("127.0.0.1", name="boathouse")
    sent: list[bytes] = []
    monkeypatch.setattr(node, "_send_data", lambda data, *_: sent.append(bytes(node._packet_base) + bytes(data)))
    universe = node._create_universe(700)
    for size in (1, 2, 511, 512):
        node._send_universe(700, size, bytearray([7]) * size, universe)
    node.set_synchronous_mode(True)
    node._send_synchronization()
    packets = batch([artnet(packet) for packet in sent])
    tables = decode(packets)
    assert tables.levels.slots.tolist() == [1, 2, 511, 512]
    assert tables.levels.universe.tolist() == [700] * 4
    assert tables.levels.sequence.tolist() == [1, 2, 3, 4]
    assert (tables.levels.faults == 1 << Fault.ODD_LENGTH).tolist() == [True, False, True, False]
    for at, size in zip(tables.levels.at, tables.levels.slots, strict=True):
        assert packets.data[at : at + size].tobytes() == bytes([7]) * size
    assert tables.syncs.row.tolist() == [4]
