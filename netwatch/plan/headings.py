"""What the columns of a spreadsheet are, by their headings."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from netwatch.plan.addresses import BadAddress, address
from netwatch.plan.cells import Row

HEADINGS: Mapping[str, str] = {
    "name": "name, device, device name, box, node, fixture, label, unit, hostname, host name, host, description, what, item",
    "place": "place, location, position, area, zone, where, room, site, stands, venue",
    "asset": "asset, asset number, asset no, asset id, asset tag, inventory, inventory number, inv no, inventory no, barcode",
    "mac": "mac, mac address, hardware address, physical address, ethernet address, macaddress",
    "address": "ip, ip address, ipaddress, ipv4, ipv4 address, address, fixed address, static ip, ip no, network address, new ip",
    "mask": "mask, subnet mask, netmask, subnetmask, network mask, ip mask",
    "mode": "dhcp, ip mode, address mode, addressing, ip type, ip assignment, static or dhcp, dhcp or static",
    "protocol": "protocol, light protocol, dmx protocol, data protocol",
    "role": "role, type, kind, category, function, device type",
    "sends": "sends, sent, output, outputs, sends universes, sending, transmits, source of, universes sent, out",
    "receives": "receives, received, input, inputs, receives universes, listens, listens to, subscribed, universes received, in",
    "universe": "universe, universes, uni, univ, dmx universe, universe no, universe number, universe s, start universe",
    "sacn": "sacn, sacn universe, sacn universes, e1.31, e1.31 universe, e131 universe, sacn uni",
    "artnet": "artnet, art-net, artnet universe, art-net universe, art-net universes, artnet universes, port address, artnet uni",
    "net": "net, artnet net, art-net net",
    "sub": "sub, sub-net, subnet, sub net, artnet subnet, art-net sub-net, artnet sub-net",
    "priority": "priority, prio, sacn priority",
    "link": "link, link speed, speed, port speed, mbit/s, mbit",
    "desk": "desk, desk universe, console universe, desk calls it, on the desk, desk name, patch",
    "skip": "note, notes, remark, remarks, comment, comments, gateway, switch, switch port, port, vlan, cable, cable no, no, "
    "nr, #, number, pos, qty, quantity, firmware, serial, serial no, serial number, model, manufacturer, maker, dns, status, "
    "done, ok, power, circuit, dmx address, start address, dmx, channel, channels, mode no, login, user, password",
}
"""Field: how people head its column (common practice, no source). 'skip' = known, and no part of a plan."""
SEVERAL = frozenset({"universe", "sends", "receives", "sacn", "artnet", "skip"})
"""Fields that may have more than one column."""
_FIELDS = {heading.strip(): field for field, headings in HEADINGS.items() for heading in headings.split(",")}
_LOOKED_AT = 30
"""Rows in which the headings may stand."""


def field(heading: str) -> str:
    """The field that a heading means, '' = not known: 'Universe 2' and 'IP address (fixed)' are read without the addition."""
    word = re.sub(r"\(.*?\)|\[.*?\]", " ", heading.lower())
    word = re.sub(r"[_:*\s]+", " ", word).strip(" .")
    if word in _FIELDS:
        return _FIELDS[word]
    numbered = re.sub(r"[\s#]*[0-9]+$|\s[a-h]$", "", word)
    return _FIELDS.get(numbered, "") if _FIELDS.get(numbered, "") in SEVERAL else ""


def fits(rows: Sequence[Row]) -> int:
    """How well a table looks like a list of devices."""
    found = headings(rows)
    return 0 if found is None else len({each for each in found[1] if each not in ("", "skip")})


def headings(rows: Sequence[Row]) -> tuple[int, list[str]] | None:
    """(place of the row of headings in ``rows``, the field of each column, '' where it is not known); None = there is none."""
    best: tuple[int, int, list[str]] | None = None
    for place, (_, cells) in enumerate(rows[:_LOOKED_AT]):
        fields = [field(cell) for cell in cells]
        known = {each for each in fields if each not in ("", "skip")}
        # A name alone may be any word; an address alone, too.
        if len(known) >= 2 and known & {"name", "address", "mac", "place"} and (best is None or len(known) > best[0]):
            best = len(known), place, fields
    if best is None:
        return None
    fields = best[2]
    if "net" not in fields:  # 'Subnet' is Art-Net's only beside 'Net'
        fields = ["mask" if each == "sub" and "mask" not in fields else "skip" if each == "sub" else each for each in fields]
    return best[1], fields


def only_dmx(values: Sequence[str]) -> bool:
    """A column 'Address' may hold DMX start addresses: numbers from 1 to 512, and no address with dots."""
    filled = [value for value in values if value]
    return bool(filled) and not any(_looks(value) for value in filled) and all(
        value.isascii() and value.isdigit() and 1 <= int(value[:6]) <= 512 for value in filled
    )


def _looks(value: str) -> bool:
    try:
        address(value)
    except BadAddress:
        return False
    return True
