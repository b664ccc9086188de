"""Hostile names in every field of a packet, a mark or a capture that holds one, as a whole evening."""

from __future__ import annotations

import struct
from dataclasses import replace

from netwatch.packets.batch import Port
from netwatch.packets.blocks import SECTION, packed_block, written_interface, written_mark
from netwatch.packets.keep import packed_packets
from tests.stories import acn_frames, artnet_frames, frames, switch_frames
from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, ORCHARD, POND, SERVER, STRANGER, SWITCH, WALK, Box
from tests.stories.playing import Event, items
from tests.stories.script import at, every, mark, stream

NAMES = {
    "clears the screen": "\x1b[2J\x1b[1;31mOK",
    "sets the title": "\x1b]0;owned\x07",
    "C1 control": "\x9b31mred",
    "turns the direction": "\u202egnp.exe\u2066",
    "takes no room": "de\u200bsk\ufe0f\u3164",
    "breaks the line": "a\r\nb\tc\u2028d",
    "terminal markup": "[red]x[/] [/no]",
    "terminal action": "[@click=app.quit]",
    "script": "<script>x()",
    "picture": "<img src=x>",
    "ends an attribute": "\"'><b id=x>",
    "entity": "&lt;b&amp;#60;",
    "template": "{{7*7}}{% if %}",
    "formula": "=1+1;@x;+1;-1",
    "format": "%s%n{0}{x!r}",
    "key of TOML": "\"\n[dhcp]\nx='''",
}
"""By what they try. Each fits the 17 octets of a short name (Art-Net 4 p.26), or is cut there."""


def fill(box: Box, name: str) -> Box:
    return replace(box, name=name)


def lldp(name: str) -> bytes:
    """Chassis and port by local names, the port's text and the system's name (IEEE 802.1AB 8.5; from memory)."""
    text = name.encode()[:40]
    parts = ((1, b"\x07" + text), (2, b"\x05" + text), (3, b"\0\x78"), (4, text), (5, text), (6, text))
    unit = b"".join(struct.pack(">H", kind << 9 | len(value)) + value for kind, value in parts)
    return frames.ethernet(SWITCH.mac, "01:80:c2:00:00:0e", 0x88CC, unit + b"\0\0")


def events(name: str, stop: float = 14) -> list[Event]:
    """Rival controllers, two DHCP servers, an address used twice, a node and a switch, all by this name; marks that hold it."""
    boxes = [fill(each, name) for each in (DESK, BACKUP, WALK, POND, ORCHARD)]
    desk, backup, walk, pond, orchard = boxes
    ask = frames.dhcp(frames.REQUEST, pond, server=SERVER.address, requested="10.0.0.50", host_name=name)
    given = frames.dhcp(frames.ACK, pond, by=SERVER, server=SERVER.address, yiaddr="10.0.0.50", lease=600)
    rival = frames.dhcp(frames.OFFER, pond, by=STRANGER, server=STRANGER.address, yiaddr="192.168.77.9", lease=60)
    heard = [
        *stream(1, desk, hz=10, stop=stop, levels=bytes((200,)) * 8), *stream(1, backup, hz=10, stop=stop - 4, levels=bytes(8)),
        *stream(2, backup, hz=10, start=2, stop=6, levels=bytes(8)),
        *every(2.5, acn_frames.discovery(fill(desk, name[:60]), (1, 9)), stop=stop),
        *every(3, artnet_frames.poll(desk), artnet_frames.reply(walk, (1, 2), short=name, long=name), stop=stop),
        *every(1, artnet_frames.levels(1, bytes(8)), stop=stop),
        *every(3, lldp(name), switch_frames.bpdu(), stop=stop),
        *every(4, frames.dhcp(frames.DISCOVER, pond, host_name=name), stop=stop),
        *every(4, ask, start=1, stop=stop), *every(4, given, start=1.1, stop=stop), *every(4, rival, start=0.2, stop=stop),
        *every(0.5, frames.announce(walk), frames.announce(orchard.at(WALK.address)), frames.announce(BOATHOUSE), stop=stop),
        *every(2, frames.query(), frames.report(pond, frames.universe_group(1)), stop=stop),
    ]  # fmt: skip
    subject = {"code": "duplicate-address", "where": "", "subject": f"address:{WALK.address}"}
    said = [
        *mark(9, word=name), *mark(9.5, known={**subject, "why": name}),
        *mark(1, link=True, up=True, name=name, kind=name, firewall=name, blocked=[5568], master=name, gateway=name, cell=name,
              others=[{"name": name, "kind": name, "link": True, "addresses": ["10.0.0.98/24"]}],
              astray=[{"to": "10.0.0.0/24", "by": name, "kind": name}], addresses=["10.0.0.99/24"]),
    ]  # fmt: skip
    return sorted([*heard, *said, *at(stop, frames.announce(walk))], key=lambda event: event.time)


def ports(name: str) -> tuple[Port, ...]:
    return (Port(name, 1, (frames.mac("02:00:00:00:00:99"),), ("10.0.0.99/24",)),)


def capture(name: str) -> bytes:
    """All of it as pcapng; the interface bears the name, too."""
    here = ports(name)
    out = [packed_block(SECTION, struct.pack("<IHHq", 0x1A2B3C4D, 1, 0, -1) + struct.pack("<HH", 1, len(name.encode()))
                        + name.encode() + bytes(-len(name.encode()) % 4) + bytes(4))]  # fmt: skip
    out += [written_interface(port) for port in here]
    for item in items(events(name), here, lambda place: False):
        out.append(bytes(packed_packets(item)) if hasattr(item, "rows") else written_mark(item))  # type: ignore[arg-type,union-attr]
    return b"".join(out)
