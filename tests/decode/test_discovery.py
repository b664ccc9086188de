"""E1.31 universe discovery against E1.31-2018 section 8 and the packets of the sacn library."""

from __future__ import annotations

import pytest
from sacn.messages.universe_discovery import UniverseDiscoveryPacket

from netwatch.decode.discovery import read
from netwatch.decode.reader import CUT, SHORT, Reader, Unreadable
from netwatch.decode.tables import Discovery
from tests.decode.good import DISCOVERY_0, DISCOVERY_3, HEAD

CID = "6f1c2d3e4a5b4c6d8e7f0a1b2c3d5f01"


def parse(payload: bytes, cut: bool = False) -> Discovery:
    return read(Reader(payload, cut), HEAD)


def changed(at: int, *values: int) -> bytes:
    return DISCOVERY_3[:at] + bytes(values) + DISCOVERY_3[at + len(values) :]


def test_a_list_of_three() -> None:
    """E1.31-2018 table 4-3."""
    page = parse(DISCOVERY_3)
    assert (page.cid, page.name, page.page, page.last_page) == (CID, "FOH test source", 0, 0)
    assert (page.universes, page.sorted_up) == ((1, 300, 63999), True)


def test_an_empty_list() -> None:
    """E1.31-2018 8.4: a source without universes may send an empty list."""
    assert (parse(DISCOVERY_0).universes, parse(DISCOVERY_0).sorted_up) == ((), True)


def test_the_length_field_counts_not_the_datagram() -> None:
    """E1.31-2018 8.1: octets behind the list are none of it."""
    assert parse(DISCOVERY_3 + b"\0\5\0\6").universes == (1, 300, 63999)
    assert parse(changed(112, 0x70, 0x0C)).universes == (1, 300)
    for cut, reason in ((False, SHORT), (True, CUT)):
        with pytest.raises(Unreadable, match=reason):
            parse(changed(112, 0x70, 0x10), cut)


@pytest.mark.parametrize(("numbers", "rising"), [((1, 1, 2), False), ((2, 1, 3), False), ((1, 2, 3), True)])
def test_a_list_that_does_not_rise_is_told(numbers: tuple[int, ...], rising: bool) -> None:
    """E1.31-2018 8.5: numerically sorted, so a repeated number is a fault too."""
    page = parse(DISCOVERY_3[:120] + b"".join(number.to_bytes(2, "big") for number in numbers))
    assert (page.universes, page.sorted_up) == (numbers, rising)


@pytest.mark.parametrize(
    ("at", "value", "reason"),
    [
        (1, 0x11, "not an ACN packet"),  # 5.1 preamble
        (3, 0x01, "not an ACN packet"),  # 5.2 postamble
        (12, 0x36, "not an ACN packet"),  # 5.3 identifier
        (21, 0x04, "vectors 4, 2, 1"),  # 5.5: framing vector 2 under root vector 4 is data
        (43, 0x01, "vectors 8, 1, 1"),  # 6.5
        (117, 0x02, "vectors 8, 2, 2"),  # 8.2
        (112, 0x60, "length field 0x600e"),  # E1.17 2.5.2: a first PDU without header has nothing to inherit
        (113, 0x07, "length field 0x7007"),  # shorter than its own fixed part
    ],
)
def test_what_a_receiver_must_discard(at: int, value: int, reason: str) -> None:
    with pytest.raises(Unreadable, match=reason):
        parse(changed(at, value))


def test_a_hostile_source_name() -> None:
    name = b"\x1b[31m[/nope]\xff" + "\u2066".encode() + b"\0"
    assert parse(changed(44, *name)).name == "\\x1b[31m[/nope]\ufffd\\u2066"
    assert parse(changed(44, *b"x" * 64)).name == "x" * 64


@pytest.mark.parametrize("count", [0, 1, 511, 512, 1025])
def test_the_pages_of_the_sacn_library(count: int) -> None:
    """sacn builds its own pages of 512 from one list."""
    universes = tuple(range(1, count + 1))
    pages = UniverseDiscoveryPacket.make_multiple_uni_disc_packets(
        cid=tuple(bytes.fromhex(CID)), sourceName="orchard", universes=list(universes)
    )
    read_back = [parse(bytes(page.getBytes())) for page in pages]
    assert tuple(number for page in read_back for number in page.universes) == universes
    assert [(page.page, page.last_page) for page in read_back] == [(at, len(pages) - 1) for at in range(len(pages))]
    assert all(page.name == "orchard" and page.cid == CID and page.sorted_up for page in read_back)
