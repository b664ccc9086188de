"""One call for any rare packet: the right record, or a broken one with a reason, whatever the bytes."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.decode import records
from netwatch.decode.reader import CUT, SHORT
from netwatch.decode.tables import (
    RARE,
    ArtNetOther,
    BrokenRecord,
    Dhcp,
    Discovery,
    Igmp,
    Kind,
    Lldp,
    Noticed,
    Poll,
    PollReply,
    Rdm,
    Record,
    Stp,
)
from tests.decode.good import DHCP_OFFER, GOOD, LINK, around

CLASSES: dict[Kind, type[Record]] = {
    Kind.DHCP: Dhcp, Kind.IGMP: Igmp, Kind.E131_DISCOVERY: Discovery, Kind.ARTNET_POLL: Poll,
    Kind.ARTNET_REPLY: PollReply, Kind.ARTNET_RDM: Rdm, Kind.ARTNET_OTHER: ArtNetOther, Kind.LLDP: Lldp, Kind.STP: Stp,
    Kind.MLD: Noticed, Kind.E131_IPV6: Noticed, Kind.E131_DRAFT: Noticed, Kind.ACN_OTHER: Noticed,
}  # fmt: skip


def made(kind: Kind, payload: bytes, *, cut: bool = False, behind: bytes = b"") -> Record:
    [record] = records.read(*around(kind, payload, cut=cut, behind=behind), np.zeros(1, np.int64))
    return record


def sound(record: Record, kind: Kind) -> bool:
    """A record of its own class, or a broken one that says so; its texts without controls."""
    if isinstance(record, BrokenRecord):
        return record.kind == kind and bool(record.reason)
    names = [value for field in dataclasses.fields(record) if isinstance(value := getattr(record, field.name), str)]
    right = isinstance(record, (CLASSES[kind], Noticed))
    return right and not any(sign < " " or "\x7f" <= sign < "\xa0" for name in names for sign in name)


def test_every_rare_kind_has_a_record() -> None:
    assert set(CLASSES) == RARE
    assert {kind for kind, _ in GOOD.values()} == RARE


@pytest.mark.parametrize("name", GOOD)
def test_a_good_message(name: str) -> None:
    kind, payload = GOOD[name]
    record = made(kind, payload)
    assert type(record) is CLASSES[kind]
    assert (record.n, record.segment, record.mac, record.to_mac) == (41, 1 << 12, "02:00:00:00:00:01", "ff:ff:ff:ff:ff:ff")
    assert (record.src, record.dst, record.raw) == ("10.0.0.5", "255.255.255.255", LINK + payload)


@pytest.mark.parametrize("name", GOOD)
def test_who_says_the_same_is_not_taken_for_another(name: str) -> None:
    """What is said again and again is read once."""
    kind, payload = GOOD[name]
    packets, decoded = around(kind, payload)
    others = dataclasses.replace(decoded.frames, mac=decoded.frames.mac + np.uint64(1), src=decoded.frames.src + np.uint32(1))
    one, other = (
        records.read(packets, each, np.zeros(1, np.int64))[0] for each in (decoded, dataclasses.replace(decoded, frames=others))
    )
    assert (other.mac, other.src) == ("02:00:00:00:00:02", "10.0.0.6")
    assert dataclasses.replace(other, mac=one.mac, src=one.src) == one


@pytest.mark.parametrize("name", GOOD)
@pytest.mark.parametrize("cut", [False, True])
def test_every_prefix(name: str, cut: bool) -> None:
    kind, payload = GOOD[name]
    for size in range(len(payload)):
        record = made(kind, payload[:size], cut=cut)
        assert sound(record, kind)
        if cut and isinstance(record, BrokenRecord):
            assert record.reason == CUT


@pytest.mark.parametrize("name", GOOD)
def test_every_flip_of_a_byte(name: str) -> None:
    kind, payload = GOOD[name]
    for at in range(len(payload)):
        for mask in (0x01, 0x80, 0xFF):
            assert sound(made(kind, payload[:at] + bytes((payload[at] ^ mask,)) + payload[at + 1 :]), kind)


@pytest.mark.parametrize("name", GOOD)
def test_what_stands_behind_the_payload_changes_nothing(name: str) -> None:
    kind, payload = GOOD[name]
    for size in {len(payload), len(payload) // 2, 3}:
        alone = made(kind, payload[:size])
        poisoned = made(kind, payload[:size], behind=b"\xff\x01" * 40)
        assert dataclasses.replace(poisoned, raw=alone.raw) == alone


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(sorted(RARE)), st.binary(max_size=300), st.booleans())
def test_any_bytes(kind: Kind, payload: bytes, cut: bool) -> None:
    assert sound(made(kind, payload, cut=cut), kind)


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(sorted(GOOD)), st.binary(max_size=300), st.integers(0, 250), st.booleans())
def test_any_bytes_behind_a_good_beginning(name: str, rest: bytes, size: int, cut: bool) -> None:
    kind, payload = GOOD[name]
    assert sound(made(kind, payload[:size] + rest, cut=cut), kind)


def test_a_broken_record_says_why() -> None:
    record = made(Kind.DHCP, DHCP_OFFER[:100])
    assert isinstance(record, BrokenRecord)
    assert (record.kind, record.reason, record.n, record.src) == (Kind.DHCP, SHORT, 41, "10.0.0.5")


def test_a_payload_longer_than_any_frame_is_read_in_part() -> None:
    """A file may claim 64 KiB; nothing is read past a jumbo frame, and the raw bytes kept are those of one plain frame."""
    record = made(Kind.IGMP, bytes.fromhex("2200 0000 0000 1fff") + bytes.fromhex("04000000 efff0001") * 0x1FFF)
    assert isinstance(record, BrokenRecord)
    assert record.reason == CUT
    assert len(record.raw) == 1522
