"""Art-Net records against Art-Net 4 (revision 1.4di), E1.20-2010 and the packets of public libraries."""

from __future__ import annotations

import pytest

from netwatch.decode import artnet_records as art
from netwatch.decode.reader import CUT, SHORT, Reader, Unreadable
from netwatch.decode.tables import Rdm
from tests.decode.good import (
    ART,
    ART_POLL_14,
    ART_POLL_22,
    ART_POLLREPLY,
    ART_RDM,
    ART_RDMSUB,
    ART_TIMECODE,
    ART_TODCONTROL,
    ART_TODDATA,
    ART_TODREQUEST,
    HEAD,
    octets,
)


def rdm(payload: bytes, cut: bool = False) -> Rdm:
    return art.rdm(Reader(payload, cut), HEAD)


def changed(payload: bytes, at: int, *values: int) -> bytes:
    return payload[:at] + bytes(values) + payload[at + len(values) :]


def test_a_poll_of_22_octets() -> None:
    """Page 17: flags and priority; page 16: the target range is high octet first."""
    poll = art.poll(Reader(ART_POLL_22), HEAD)
    assert (poll.flags, poll.priority, poll.target_top, poll.target_bottom) == (0x06, 0x40, 0, 0)
    poll = art.poll(Reader(changed(ART_POLL_22, 14, 0x01, 0x2F, 0x01, 0x20)), HEAD)
    assert (poll.target_top, poll.target_bottom) == (0x012F, 0x0120)


def test_a_poll_is_valid_from_14_octets() -> None:
    """Page 16: missing fields are zero; unless the capture cut them off, then nobody knows."""
    poll = art.poll(Reader(ART_POLL_14), HEAD)
    assert (poll.flags, poll.priority, poll.target_top, poll.target_bottom) == (0x02, 0x10, 0, 0)
    with pytest.raises(Unreadable, match=SHORT):
        art.poll(Reader(ART_POLL_14[:13]), HEAD)
    with pytest.raises(Unreadable, match=CUT):
        art.poll(Reader(ART_POLL_14, cut=True), HEAD)
    with pytest.raises(Unreadable, match="version below 14"):
        art.poll(Reader(changed(ART_POLL_14, 11, 13)), HEAD)


def test_a_reply_in_full() -> None:
    """Pages 24 to 32, every field that is shown; the manufacturer code is low octet first."""
    reply = art.reply(Reader(ART_POLLREPLY), HEAD)
    assert (reply.address, reply.firmware, reply.oem, reply.esta, reply.status1) == ("2.11.4.9", 0x0107, 0x00FF, 0x7FF0, 0xD2)
    assert (reply.short_name, reply.long_name) == ("Port 1", "Example gateway, grid left")
    assert reply.report == "#0001 [0042] Power on tests OK"
    assert (reply.ports, reply.port_types) == (1, (0x80, 0, 0, 0))
    assert (reply.good_input, reply.good_output) == ((0, 0, 0, 0), (0x88, 0, 0, 0))
    assert (reply.inputs, reply.outputs) == ((), (293,))
    assert (reply.acn_priority, reply.style, reply.node_mac) == (100, 0, "02:00:00:0c:04:09")
    assert (reply.bind_address, reply.bind_index, reply.status2) == ("2.11.4.9", 1, 0x1C)
    assert (reply.good_output_b, reply.status3, reply.uid, reply.refresh) == ((0x40, 0, 0, 0), 0x28, "7ff0:00000409", 44)


def test_a_reply_is_valid_from_207_octets() -> None:
    """Page 24: what is missing is zero."""
    reply = art.reply(Reader(ART_POLLREPLY[:207]), HEAD)
    assert (reply.outputs, reply.node_mac) == ((293,), "02:00:00:0c:04:09")
    assert (reply.bind_address, reply.bind_index, reply.status2, reply.status3, reply.uid, reply.refresh) == ("", 0, 0, 0, "", 0)
    with pytest.raises(Unreadable, match=SHORT):
        art.reply(Reader(ART_POLLREPLY[:206]), HEAD)
    with pytest.raises(Unreadable, match=CUT):
        art.reply(Reader(ART_POLLREPLY[:210], cut=True), HEAD)
    assert art.reply(Reader(ART_POLLREPLY[:230], cut=True), HEAD) == art.reply(Reader(ART_POLLREPLY), HEAD)


@pytest.mark.parametrize(
    ("ports", "types", "inputs", "outputs"),
    [
        (4, (0x80, 0x40, 0xC0, 0x05), (0x0121, 0x0122), (0x0129, 0x012B)),
        (2, (0x80, 0x40, 0xC0, 0x05), (0x0121,), (0x0129,)),
        (0, (0xC0, 0xC0, 0xC0, 0xC0), (), ()),
        (0x0200, (0xC0, 0xC0, 0xC0, 0xC0), (0x0120, 0x0121, 0x0122, 0x0123), (0x0129, 0x012A, 0x012B, 0x012C)),
    ],
)
def test_port_addresses(ports: int, types: tuple[int, ...], inputs: tuple[int, ...], outputs: tuple[int, ...]) -> None:
    """Page 25 and 28: Net in 7 bits, Sub-Net and universe in the low four; page 27: at most 4 ports, by what they can."""
    payload = changed(ART_POLLREPLY, 18, 0x81, 0xF2)
    payload = changed(payload, 172, ports >> 8, ports & 255, *types)
    payload = changed(payload, 186, 0xF0, 0x01, 0x12, 0x03, 0x09, 0x1A, 0x0B, 0xFC)
    reply = art.reply(Reader(payload), HEAD)
    assert (reply.ports, reply.inputs, reply.outputs) == (min(ports, 4), inputs, outputs)


def test_hostile_names_in_a_reply() -> None:
    payload = changed(ART_POLLREPLY, 26, *b"[/nope]\x1b[0m\xff\xfe")
    payload = changed(payload, 44, *"\u202eabc\ufeff".encode())
    reply = art.reply(Reader(payload), HEAD)
    assert reply.short_name == "[/nope]\\x1b[0m\ufffd\ufffd"
    assert reply.long_name.startswith("\\u202eabc\\ufeff")


def test_tod_request() -> None:
    """Page 83: one Port-Address is named, several are not; the array may be shortened to the used entries."""
    assert (rdm(ART_TODREQUEST).opcode, rdm(ART_TODREQUEST).port_address, rdm(ART_TODREQUEST).uids) == (0x8000, 293, ())
    assert rdm(ART_TODREQUEST[:25]).port_address == 293
    assert rdm(changed(ART_TODREQUEST, 23, 2)).port_address is None
    with pytest.raises(Unreadable, match=SHORT):
        rdm(ART_TODREQUEST[:24])


def test_tod_data() -> None:
    """Pages 84 to 86."""
    tod = rdm(ART_TODDATA)
    assert (tod.opcode, tod.port_address, tod.uids) == (0x8100, 293, ("7ff0:01020304", "7ff0:01020305"))
    assert (tod.command_class, tod.parameter, tod.checksum_good) == (None, None, None)
    with pytest.raises(Unreadable, match=SHORT):
        rdm(changed(ART_TODDATA, 27, 3))


def test_tod_control() -> None:
    """Pages 87 and 88."""
    assert (rdm(ART_TODCONTROL).opcode, rdm(ART_TODCONTROL).port_address) == (0x8200, 293)


def test_an_rdm_message_without_and_with_its_start_code() -> None:
    """Page 90: without; a leading CC is a form seen in the wild. The checksum counts it in both (E1.20-2010 6.2.11)."""
    for payload in (ART_RDM, ART_RDM[:24] + b"\xcc" + ART_RDM[24:]):
        message = rdm(payload)
        assert (message.opcode, message.port_address, message.uids) == (0x8300, 293, ("7ff0:01020304", "7ff0:00000001"))
        assert (message.command_class, message.parameter, message.checksum_good) == (0x20, 0x0060, True)
    assert rdm(changed(ART_RDM, 40, 1)).checksum_good is False


def test_the_checksum_example_of_e120() -> None:
    """E1.20-2010 table 6-6 (GET STATUS_MESSAGES): checksum 0x066A."""
    example = octets("01 19 12 34 56 78 9a bc cb a9 87 65 43 21 00 01 00 00 00 20 00 30 01 04 06 6a")
    message = rdm(ART_RDM[:24] + example)
    assert (message.uids, message.parameter, message.checksum_good) == (("1234:56789abc", "cba9:87654321"), 0x0030, True)


def test_rdm_that_is_cut_short_or_none() -> None:
    """E1.20-2010 6.2.2: other sub-START codes are ignored; 6.2.3: the length is at least 24."""
    assert rdm(ART_RDM[:47], cut=True).checksum_good is None
    for payload, cut, reason in (
        (ART_RDM[:47], False, SHORT),
        (ART_RDM[:40], True, CUT),
        (changed(ART_RDM, 24, 2), False, "sub-START code 2"),
        (changed(ART_RDM, 25, 23), False, "length 23"),
    ):
        with pytest.raises(Unreadable, match=reason):
            rdm(payload, cut)


def test_rdm_for_sub_devices() -> None:
    """Page 92."""
    message = rdm(ART_RDMSUB)
    assert (message.uids, message.command_class, message.parameter) == (("7ff0:01020304",), 0x30, 0x00F0)
    assert (message.port_address, message.checksum_good) == (None, None)


def test_an_opcode_without_rdm() -> None:
    with pytest.raises(Unreadable, match="0x9700 carries no RDM"):
        rdm(ART_TIMECODE + bytes(20))


@pytest.mark.parametrize(
    ("opcode", "name"),
    [(0x9700, "OpTimeCode"), (0x2300, "OpDiagData"), (0xF900, "OpIpProgReply"), (0x6000, "OpAddress"), (0x1234, "")],
)
def test_other_packets_are_named(opcode: int, name: str) -> None:
    """Table 1; the OpCode travels low octet first."""
    other = art.other(Reader(ART + opcode.to_bytes(2, "little")), HEAD)
    assert (other.opcode, other.name) == (opcode, name)


def test_what_is_not_art_net() -> None:
    """Page 93: the identifier is the one check that every receiver must make."""
    for parse in (art.poll, art.reply, art.rdm, art.other):
        with pytest.raises(Unreadable, match="not an Art-Net packet"):
            parse(Reader(changed(ART_POLLREPLY, 7, 1)), HEAD)
