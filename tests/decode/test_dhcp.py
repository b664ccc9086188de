"""DHCP against RFC 2131 and RFC 2132, and against scapy's builder and dissector as an oracle."""

from __future__ import annotations

import ipaddress
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.layers.dhcp import BOOTP, DHCP

from netwatch.decode.dhcp import read
from netwatch.decode.reader import CUT, Reader, Unreadable
from netwatch.decode.tables import Dhcp
from tests.decode.good import DHCP_DISCOVER, DHCP_OFFER, HEAD, dhcp, octets

END = b"\xff"


def parse(payload: bytes, cut: bool = False) -> Dhcp:
    return read(Reader(payload, cut), HEAD)


def test_discover() -> None:
    """RFC 2131 figure 1 and table 5."""
    message = parse(DHCP_DISCOVER)
    assert (message.message, message.op, message.xid, message.secs, message.broadcast_flag) == (1, 1, 0x11223344, 3, True)
    assert (message.chaddr, message.host_name) == ("02:00:00:00:00:50", "node-a")
    assert message.client_id == octets("01 02 00 00 00 00 50")
    assert message.parameters == bytes((1, 3, 51, 58, 59, 54))
    assert (message.ciaddr, message.yiaddr, message.siaddr, message.giaddr) == ("", "", "", "")
    assert (message.lease, message.server, message.routers, message.relay) == (None, "", (), b"")
    assert (message.n, message.src, message.raw) == (7, "10.0.0.1", b"raw")


def test_offer() -> None:
    """RFC 2131 table 3; options of RFC 2132 3.3, 3.5, 5.3, 9.2, 9.7, 9.11, 9.12."""
    message = parse(DHCP_OFFER)
    assert (message.message, message.op, message.yiaddr, message.server) == (2, 2, "10.0.0.100", "10.0.0.1")
    assert (message.lease, message.t1, message.t2) == (3600, 1800, 3150)
    assert (message.mask, message.broadcast) == ("255.255.255.0", "10.0.0.255")
    assert message.routers == ("10.0.0.1", "10.0.0.2")


def test_relayed_with_option_82() -> None:
    """RFC 3046 section 2.0: agent information as it stands; giaddr is the relay (RFC 2131 4.1)."""
    message = parse(dhcp(octets("35 01 01 52 06 01 04 00 05 00 03 ff"), giaddr=bytes((10, 0, 5, 1))))
    assert (message.giaddr, message.relay) == ("10.0.5.1", octets("01 04 00 05 00 03"))


def test_an_endless_lease_and_a_refusal() -> None:
    """0xFFFFFFFF is infinity (RFC 2131 3.3); option 56 carries the text (RFC 2132 9.9)."""
    assert parse(dhcp(octets("35 01 05 33 04 ff ff ff ff ff"), op=2)).lease == 0xFFFFFFFF
    message = parse(dhcp(octets("35 01 06 36 04 0a 00 00 01 38 08") + b"wrong \x1b\0" + END, op=2))
    assert (message.message, message.text) == (6, "wrong \\x1b")


def test_overloaded_fields_are_read_file_first() -> None:
    """RFC 2131 4.1: the options field, then file, then sname; parts of one option are joined in this order."""
    payload = dhcp(
        octets("35 01 05 34 01 03 0c 02 61 62 ff"), op=2,
        file=octets("0c 02 63 64 03 04 0a 00 00 01 ff"), sname=octets("0c 02 65 66 36 04 0a 00 00 09 ff"),
    )  # fmt: skip
    message = parse(payload)
    assert (message.host_name, message.routers, message.server) == ("abcdef", ("10.0.0.1",), "10.0.0.9")


@pytest.mark.parametrize(("overload", "host"), [(0, "ab"), (1, "abcd"), (2, "abef"), (3, "abcdef"), (4, "ab")])
def test_only_the_named_fields_are_overloaded(overload: int, host: str) -> None:
    """RFC 2132 9.3: 1 = file, 2 = sname, 3 = both."""
    payload = dhcp(
        octets("35 01 01 0c 02 61 62 34 01") + bytes((overload,)) + END,
        file=octets("0c 02 63 64 ff"), sname=octets("0c 02 65 66 ff"),
    )  # fmt: skip
    assert parse(payload).host_name == host


def test_an_overload_inside_an_overloaded_field_is_not_followed() -> None:
    payload = dhcp(octets("35 01 01 34 01 01 ff"), file=octets("34 01 02 ff"), sname=octets("0c 01 78 ff"))
    assert parse(payload).host_name == ""


def test_without_cookie_or_type_it_is_bootp() -> None:
    """RFC 2131 section 3: every DHCP message has option 53; without the cookie there are no options at all."""
    bare = DHCP_OFFER[:236] + bytes(64)
    assert (parse(bare).message, parse(bare).yiaddr, parse(bare).mask) == (0, "10.0.0.100", "")
    vendor = dhcp(octets("01 04 ff ff 00 00 ff"), op=2)
    assert (parse(vendor).message, parse(vendor).mask) == (0, "255.255.0.0")


def test_options_that_run_past_the_end() -> None:
    """What stands before them is kept if the message type was there."""
    kept = parse(dhcp(octets("35 01 03 32 04 0a 00 00 64 36 04 0a 00")))
    assert (kept.message, kept.requested, kept.server) == (3, "10.0.0.100", "")
    with pytest.raises(Unreadable, match="run past the end"):
        parse(dhcp(octets("32 04 0a 00 00 64 35 09 03")))
    with pytest.raises(Unreadable, match="run past the end"):
        parse(dhcp(octets("34 01 01 35 09 03"), file=octets("0c 01 78 ff")))


def test_every_prefix_of_a_message() -> None:
    """Below the cookie nothing can be said; above it a prefix gives no option that the whole does not have."""
    whole = parse(DHCP_OFFER)
    for size in range(len(DHCP_OFFER)):
        if size < 240:
            with pytest.raises(Unreadable):
                parse(DHCP_OFFER[:size])
        else:
            try:
                part = parse(DHCP_OFFER[:size])
            except Unreadable:
                assert size in (241, 242)  # inside option 53, the first one
                continue
            assert part.message == (2 if size > 242 else 0)
            for name in ("mask", "server", "lease", "t1", "t2", "broadcast", "routers"):
                assert getattr(part, name) in (getattr(whole, name), "", None, ())


def test_a_capture_that_ends_inside_the_options_gives_no_half_message() -> None:
    """Which REQUEST it is hangs on options that are missing (RFC 2131 table 4), so half a list would mislead."""
    end = len(DHCP_OFFER) - 4  # the end option has three pads behind it
    assert DHCP_OFFER[end] == 255
    for size in range(end + 1):
        with pytest.raises(Unreadable, match=CUT):
            parse(DHCP_OFFER[:size], cut=True)
    for size in range(end + 1, len(DHCP_OFFER)):
        assert parse(DHCP_OFFER[:size], cut=True) == parse(DHCP_OFFER)


@pytest.mark.parametrize(
    ("at", "value", "reason"), [(0, 0, "operation 0"), (0, 3, "operation 3"), (2, 17, "17 octets"), (242, 0, "message type 0")]
)
def test_what_cannot_be(at: int, value: int, reason: str) -> None:
    payload = bytearray(DHCP_DISCOVER)
    payload[at] = value
    with pytest.raises(Unreadable, match=reason):
        parse(bytes(payload))


def test_another_kind_of_hardware_address_is_no_mac() -> None:
    payload = bytearray(DHCP_DISCOVER)
    payload[2] = 8
    assert parse(bytes(payload)).chaddr == ""


def test_hostile_names() -> None:
    name = b"\x1b]0;x\x07[/nope]\xff" + "\u202e".encode()
    message = parse(dhcp(b"\x35\x01\x01\x0c" + bytes((len(name),)) + name + b"\x3c\x03a\0b" + END))
    assert message.host_name == "\\x1b]0;x\\x07[/nope]\ufffd\\u202e"
    assert message.vendor_class == "a"


ADDRESS = st.integers(1, 2**32 - 1).map(lambda value: str(ipaddress.IPv4Address(value)))
NAME = st.from_regex(r"[a-z][a-z0-9-]{0,30}", fullmatch=True)
SECONDS = st.integers(0, 2**32 - 1)
OPTIONS = st.fixed_dictionaries(
    {"message-type": st.integers(1, 8)},
    optional={
        "subnet_mask": ADDRESS, "router": ADDRESS, "hostname": NAME, "broadcast_address": ADDRESS,
        "requested_addr": ADDRESS, "lease_time": SECONDS, "server_id": ADDRESS, "renewal_time": SECONDS,
        "rebinding_time": SECONDS, "vendor_class_id": NAME, "client_id": st.binary(min_size=1, max_size=20),
        "error_message": NAME,
    },
)  # fmt: skip


FIXED = st.tuples(st.integers(0, 2**32 - 1), st.integers(0, 65535), st.booleans(), ADDRESS, ADDRESS, ADDRESS)


@settings(max_examples=80, deadline=None)
@given(OPTIONS, FIXED, st.integers(0, 60), st.data())
def test_what_scapy_builds_is_read_as_it_was_meant(
    options: dict[str, Any], fixed: tuple[int, int, bool, str, str, str], pad: int, data: st.DataObject
) -> None:
    """scapy as an oracle: it knows the layout from the same RFCs."""
    xid, secs, flag, yiaddr, siaddr, giaddr = fixed
    order = data.draw(st.permutations(list(options.items())))
    bootp = BOOTP(
        op=2, xid=xid, secs=secs, flags=0x8000 if flag else 0, yiaddr=yiaddr, siaddr=siaddr, giaddr=giaddr,
        chaddr=octets("02 00 00 00 00 50"),
    )  # fmt: skip
    message = parse(bytes(bootp / DHCP(options=[*order, "end"])) + bytes(pad))
    expected = {
        "message-type": message.message, "subnet_mask": message.mask, "hostname": message.host_name,
        "broadcast_address": message.broadcast, "requested_addr": message.requested, "lease_time": message.lease,
        "server_id": message.server, "renewal_time": message.t1, "rebinding_time": message.t2,
        "vendor_class_id": message.vendor_class, "client_id": message.client_id, "error_message": message.text,
        "router": message.routers[0] if message.routers else "",
    }  # fmt: skip
    for name, value in expected.items():
        assert value == options.get(name, type(value)() if value is not None else None), name
    assert (message.xid, message.secs, message.broadcast_flag) == (xid, secs, flag)
    assert (message.yiaddr, message.siaddr, message.giaddr) == (yiaddr, siaddr, giaddr)
    assert message.chaddr == "02:00:00:00:00:50"
