"""Art-Net packets that become records (Art-Net 4, revision 1.4di; pages in the comments are those of its text)."""

from __future__ import annotations

from struct import Struct

from netwatch.decode.reader import Head, Reader, Unreadable
from netwatch.decode.tables import ArtNetOther, Poll, PollReply, Rdm
from netwatch.decode.text import address_text, clean, mac_text

OPCODES = {  # Table 1
    0x2000: "OpPoll", 0x2100: "OpPollReply", 0x2300: "OpDiagData", 0x2400: "OpCommand", 0x2700: "OpDataRequest",
    0x2800: "OpDataReply", 0x5000: "OpDmx", 0x5100: "OpNzs", 0x5200: "OpSync", 0x6000: "OpAddress",
    0x7000: "OpInput", 0x8000: "OpTodRequest", 0x8100: "OpTodData", 0x8200: "OpTodControl", 0x8300: "OpRdm",
    0x8400: "OpRdmSub", 0x9000: "OpMedia", 0x9100: "OpMediaPatch", 0x9200: "OpMediaControl",
    0x9300: "OpMediaContrlReply", 0x9700: "OpTimeCode", 0x9800: "OpTimeSync", 0x9900: "OpTrigger",
    0x9A00: "OpDirectory", 0x9B00: "OpDirectoryReply", 0xA010: "OpVideoSetup", 0xA020: "OpVideoPalette",
    0xA040: "OpVideoData", 0xF000: "OpMacMaster", 0xF100: "OpMacSlave", 0xF200: "OpFirmwareMaster",
    0xF300: "OpFirmwareReply", 0xF400: "OpFileTnMaster", 0xF500: "OpFileFnMaster", 0xF600: "OpFileFnReply",
    0xF800: "OpIpProg", 0xF900: "OpIpProgReply",
}
_TOD_REQUEST, _TOD_DATA, _TOD_CONTROL, _RDM, _RDM_SUB = 0x8000, 0x8100, 0x8200, 0x8300, 0x8400
_ID = b"Art-Net\0"
_VERSION = 14
_POLL = Struct(">BBHH")  # flags, priority, target top and bottom (p.17)
_POLL_LEAST = 2
"""An ArtPoll is valid from 14 octets, 12 of them header (p.16)."""
_REPLY = Struct(  # behind the OpCode (p.24 to 32)
    ">I2xHBBHxBBB18s64s64sH4s4s4s4s4sB5xB6sIBB4sB6s2xH"
)
_REPLY_LEAST = 197
"""An ArtPollReply is valid from 207 octets, 10 of them before the address (p.24)."""
_CAN_INPUT, _CAN_OUTPUT = 0x40, 0x80


def poll(reader: Reader, head: Head) -> Poll:
    """ArtPoll from 14 octets; what is missing is zero. Raises Unreadable."""
    _opcode(reader, versioned=True)
    flags, priority, top, bottom = reader.padded(_POLL, _POLL_LEAST)
    return Poll(*head, flags=flags, priority=priority, target_top=top, target_bottom=bottom)


def reply(reader: Reader, head: Head) -> PollReply:
    """ArtPollReply from 207 octets; what is missing is zero. Raises Unreadable."""
    _opcode(reader, versioned=False)
    (
        address, firmware, net, sub, oem, status1, esta_low, esta_high, short_name, long_name, report, ports,
        types, good_input, good_output, inputs, outputs, acn_priority, style, mac, bind_address, bind_index,
        status2, good_output_b, status3, uid, refresh,
    ) = reader.padded(_REPLY, _REPLY_LEAST)
    ports = min(ports, 4)
    base = (net & 0x7F) << 8 | (sub & 15) << 4
    return PollReply(
        *head,
        address=address_text(address), firmware=firmware, oem=oem, esta=esta_high << 8 | esta_low, status1=status1,
        short_name=clean(short_name), long_name=clean(long_name), report=clean(report), ports=ports,
        port_types=tuple(types), good_input=tuple(good_input), good_output=tuple(good_output),
        inputs=tuple([base | inputs[i] & 15 for i in range(ports) if types[i] & _CAN_INPUT]),
        outputs=tuple([base | outputs[i] & 15 for i in range(ports) if types[i] & _CAN_OUTPUT]),
        acn_priority=acn_priority, style=style, node_mac=mac_text(int.from_bytes(mac, "big")),
        bind_address=address_text(bind_address), bind_index=bind_index, status2=status2,
        good_output_b=tuple(good_output_b), status3=status3, uid=_uid(uid) if any(uid) else "", refresh=refresh,
    )


def rdm(reader: Reader, head: Head) -> Rdm:
    """ArtTodRequest, ArtTodData, ArtTodControl, ArtRdm or ArtRdmSub, summarised (p.80 to 92). Raises Unreadable."""
    opcode = _opcode(reader, versioned=True)
    if opcode == _RDM_SUB:
        return _rdm_sub(reader, head, opcode)
    reader.skip(9)
    net, _, low = reader.u8() & 0x7F, reader.u8(), reader.u8()
    if opcode == _TOD_REQUEST:  # the last octet counts addresses here
        addresses = reader.take(low)
        return _tod(head, opcode, net << 8 | addresses[0] if low == 1 else None)
    if opcode == _TOD_DATA:
        reader.skip(3)
        return _tod(head, opcode, net << 8 | low, tuple([_uid(reader.take(6)) for _ in range(reader.u8())]))
    if opcode == _TOD_CONTROL:
        return _tod(head, opcode, net << 8 | low)
    if opcode == _RDM:
        return _message(reader, head, opcode, net << 8 | low)
    raise Unreadable(f"OpCode 0x{opcode:04x} carries no RDM")


def other(reader: Reader, head: Head) -> ArtNetOther:
    """Any other Art-Net packet by its OpCode. Raises Unreadable."""
    opcode = _opcode(reader, versioned=False)
    return ArtNetOther(*head, opcode=opcode, name=OPCODES.get(opcode, ""))


def _opcode(reader: Reader, versioned: bool) -> int:
    """The OpCode, low octet first, behind the identifier; a version below 14 is to be ignored (p.17)."""
    if reader.take(8) != _ID:
        raise Unreadable("not an Art-Net packet")
    opcode = reader.le16()
    if versioned and reader.u16() < _VERSION:
        raise Unreadable("Art-Net version below 14")
    return opcode


def _tod(head: Head, opcode: int, port_address: int | None, uids: tuple[str, ...] = ()) -> Rdm:
    return Rdm(
        *head, opcode=opcode, port_address=port_address, uids=uids, command_class=None, parameter=None,
        checksum_good=None,
    )


_MESSAGE = Struct(">BB6s6sBBBHBH")
"""Sub-START code, length, destination, source, transaction, port or response, count, sub-device, class, parameter."""


def _message(reader: Reader, head: Head, opcode: int, port_address: int) -> Rdm:
    """The RDM message in an ArtRdm (E1.20-2010 6.2): its START code is left out, yet counted in length and checksum."""
    if reader.left and reader.data[reader.at] == 0xCC:  # no message begins so without it: a tolerated form (p.90)
        reader.skip(1)
    begin = reader.at
    sub_start, length, to, source, _, _, _, _, command_class, parameter = reader.fields(_MESSAGE)
    if sub_start != 1 or length < 24:
        raise Unreadable(f"RDM sub-START code {sub_start}, length {length}")
    reader.at = begin
    good = None
    if reader.left >= length + 1 or not reader.cut:
        good = (0xCC + sum(reader.take(length - 1))) & 0xFFFF == reader.u16()
    return Rdm(
        *head, opcode=opcode, port_address=port_address, uids=(_uid(to), _uid(source)), command_class=command_class,
        parameter=parameter, checksum_good=good,
    )


def _rdm_sub(reader: Reader, head: Head, opcode: int) -> Rdm:
    """ArtRdmSub (p.92): a device, a command class and a parameter; it has no Port-Address and no checksum."""
    reader.skip(2)
    uid = reader.take(6)
    reader.skip(1)
    command_class, parameter = reader.u8(), reader.u16()
    reader.skip(8)
    return Rdm(
        *head, opcode=opcode, port_address=None, uids=(_uid(uid),), command_class=command_class, parameter=parameter,
        checksum_good=None,
    )


def _uid(value: bytes) -> str:
    """'mmmm:dddddddd' (E1.20-2010 5.2)."""
    text = value.hex()
    return f"{text[:4]}:{text[4:]}"
