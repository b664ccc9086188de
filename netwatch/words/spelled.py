"""A packet's fields as sentences: 'priority says 100', with the clause that gives the field its meaning."""

from __future__ import annotations

FIELDS = {
    "to mac": ("it goes to the box {}", "IEEE 802.3"),
    "from mac": ("it comes from the box {}", "IEEE 802.3"),
    "vlan": ("it belongs to VLAN {}", "IEEE 802.1Q"),
    "arp operation": ("ARP: {}", "RFC 826"),
    "arp sender mac": ("the asking or answering box is {}", "RFC 826"),
    "arp sender": ("it says of itself: my address is {}", "RFC 826"),
    "arp target mac": ("the box asked is {}", "RFC 826"),
    "arp target": ("the address it is about is {}", "RFC 826"),
    "from address": ("it is sent by {}", "RFC 791"),
    "to address": ("it is sent to {}", "RFC 791"),
    "from port": ("it leaves from UDP port {}", "RFC 768"),
    "to port": ("it goes to UDP port {}", "RFC 768"),
    "igmp type": ("IGMP: {}", "RFC 2236, RFC 9776"),
    "igmp records": ("it names {} groups", "RFC 9776 4.2"),
    "igmp record type": ("of the next group it says: {}", "RFC 9776 4.2.12"),
    "igmp group": ("the group is {}", "RFC 2236, RFC 9776"),
    "cid": ("the sender's own number (CID) is {}", "E1.31-2018 5.6"),
    "source name": ("the sender calls itself '{}'", "E1.31-2018 6.2.2"),
    "priority": ("priority says {}", "E1.31-2018 6.2.3"),
    "waits for sync": ("{}", "E1.31-2018 6.2.4"),
    "sequence": ("its number in the row (sequence) is {}", "E1.31-2018 6.2.5"),
    "options": ("options: {}", "E1.31-2018 6.2.6"),
    "universe": ("universe says {}", "E1.31-2018 6.2.7"),
    "property count": ("it holds {} values, START code included", "E1.31-2018 7.6"),
    "start code": ("START code says {}", "E1.31-2018 7.7; E1.11"),
    "levels": ("the first levels are {}", "E1.31-2018 7.7; Art-Net 4"),
    "sync sequence": ("its number in the row (sequence) is {}", "E1.31-2018 6.3.2"),
    "sync address": ("it releases what waits on universe {}", "E1.31-2018 6.3.3"),
    "page": ("it is page {} of its list, counted from 0", "E1.31-2018 8.3"),
    "last page": ("the last page is {}", "E1.31-2018 8.4"),
    "listed universe": ("it says that it sends universe {}", "E1.31-2018 8.5"),
    "art-net id": ("it calls itself '{}'", "Art-Net 4"),
    "opcode": ("Art-Net: {}", "Art-Net 4, table 1"),
    "artnet sequence": ("its number in the row (sequence) is {}", "Art-Net 4, ArtDmx"),
    "physical": ("physical input {}", "Art-Net 4, ArtDmx"),
    "port-address": ("the universe (net, sub-net, universe) is {}", "Art-Net 4, ArtDmx"),
    "length": ("it holds {} levels", "Art-Net 4, ArtDmx"),
    "node address": ("it says of itself: my address is {}", "Art-Net 4, ArtPollReply"),
    "net switch": ("its net is {}", "Art-Net 4, ArtPollReply"),
    "sub switch": ("its sub-net is {}", "Art-Net 4, ArtPollReply"),
    "short name": ("its short name is '{}'", "Art-Net 4, ArtPollReply"),
    "long name": ("its long name is '{}'", "Art-Net 4, ArtPollReply"),
    "report": ("it reports '{}'", "Art-Net 4, ArtPollReply"),
    "xid": ("it belongs to the exchange {}", "RFC 2131 2"),
    "client address": ("the client has {}", "RFC 2131 2"),
    "your address": ("the client may have {}", "RFC 2131 2"),
    "relay address": ("it was passed on by {}", "RFC 2131 2"),
    "client mac": ("the client is the box {}", "RFC 2131 2"),
    "option 1": ("the mask is {}", "RFC 2132 3.3"),
    "option 3": ("the way out (gateway) is {}", "RFC 2132 3.5"),
    "option 12": ("the client calls itself '{}'", "RFC 2132 3.14"),
    "option 50": ("the client asks for {}", "RFC 2132 9.1"),
    "option 51": ("the address is lent for {} s", "RFC 2132 9.2"),
    "option 53": ("DHCP: {}", "RFC 2132 9.6"),
    "option 54": ("the server is {}", "RFC 2132 9.7"),
}
"""(sentence, clause) by the key of a field."""

_ARP = {1: "a question", 2: "an answer"}
_IGMP = {
    0x11: "who listens?", 0x12: "I listen (version 1)", 0x16: "I listen (version 2)", 0x17: "I no longer listen",
    0x22: "what I listen to (version 3)",
}  # fmt: skip
_RECORD = {
    1: "only these senders", 2: "all senders but these", 3: "from now on only these senders (none: I leave)",
    4: "from now on all senders but these (none: I join)", 5: "these senders, too", 6: "no longer these senders",
}  # fmt: skip
_OPCODE = {
    0x2000: "who is there? (ArtPoll)", 0x2100: "I am here (ArtPollReply)", 0x5000: "levels (ArtDmx)", 0x5100: "levels (ArtNzs)",
    0x5200: "show what you hold (ArtSync)",
}  # fmt: skip
_DHCP = {
    1: "who gives me an address? (DISCOVER)", 2: "I offer one (OFFER)", 3: "I take it, or keep it (REQUEST)",
    4: "this address is in use already (DECLINE)", 5: "it is yours (ACK)", 6: "no (NAK)", 7: "I give it back (RELEASE)",
    8: "I have an address; tell me the rest (INFORM)",
}  # fmt: skip


def sentence(what: str, value: str | int) -> tuple[str, str]:
    """(what a field says, its clause)."""
    said, clause = FIELDS[what]
    return said.format(_shown(what, value)), clause


def _shown(what: str, value: str | int) -> str:
    named = {"arp operation": _ARP, "igmp type": _IGMP, "igmp record type": _RECORD, "opcode": _OPCODE, "option 53": _DHCP}
    if not isinstance(value, int):
        return " ".join(value[at : at + 2] for at in range(0, len(value), 2)) if what == "levels" else value
    if what in named:
        return named[what].get(value, f"kind {value}")
    if what == "waits for sync":
        return f"it waits for synchronization on universe {value}" if value else "it waits for no synchronization"
    if what == "options":
        bits = [word for bit, word in (
            (0x80, "preview only"), (0x40, "the sender signs off"), (0x20, "goes on without synchronization"))
                if value & bit]  # fmt: skip
        return ", ".join(bits) or "none"
    if what == "port-address":
        return f"{value >> 8 & 127}:{value >> 4 & 15}:{value & 15}"
    if what == "start code":
        return f"{value}, levels" if value == 0 else f"{value}, priority of each channel" if value == 0xDD else str(value)
    return str(value)
