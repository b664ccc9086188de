"""What a record tells of the box that it is about."""

from __future__ import annotations

from netwatch.decode.tables import Dhcp, Discovery, Lldp, PollReply, Record


def chosen(record: Record) -> str:
    """The DHCP server that a client names, '' in any other record."""
    return record.server if isinstance(record, Dhcp) and record.op == 1 else ""


def names(record: Record) -> dict[str, str]:
    """What a record calls its box, by where the name comes from; empty where it names none."""
    found = {}
    if isinstance(record, Dhcp):
        found = {"DHCP": record.host_name}
    elif isinstance(record, PollReply):
        found = {"Art-Net": record.long_name or record.short_name}
    elif isinstance(record, Lldp):
        found = {"LLDP": record.system_name}
    elif isinstance(record, Discovery):
        found = {"sACN": record.name}
    return {origin: name for origin, name in found.items() if name} if box_of(record)[1] else {}


def box_of(record: Record) -> tuple[int, int]:
    """(segment, MAC) of the box that a record is about; MAC 0 = not known."""
    mac = record.chaddr if isinstance(record, Dhcp) else record.mac
    return record.segment, int(mac.replace(":", "") or "0", 16)
