"""What the decoders give: columns for the common frames, frozen records for the rare ones. No state, no clock.

Columns have one entry a frame, in packet order. ``row`` is the row in the batch (n = batch.first + row).
``segment`` codes where it was heard: port << 24 | outer VID << 12 | inner VID (no tag and VID 0 are the same).
MACs are uint64 (48 bits, 0 = none known), IPv4 addresses uint32, both in the order in which they are written.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import IntEnum
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from netwatch.frozen import record

Column: TypeAlias = npt.NDArray[Any]

E131, ARTNET = 1, 2
"""Values of ``protocol`` columns."""
UNICAST, MULTICAST, BROADCAST = 0, 1, 2
"""Values of ``cast`` columns: by destination MAC, or by IP destination where the link type has none."""


class Kind(IntEnum):
    """Every captured packet is of exactly one kind; load is counted by it."""

    UNREAD = 0
    """Unknown link type, cut before its headers, or not understood; the reason is in ``undecoded``."""
    E131_DATA = 1
    E131_SYNC = 2
    E131_DISCOVERY = 3
    ARTNET_LEVELS = 4
    """ArtDmx and ArtNzs."""
    ARTNET_SYNC = 5
    ARTNET_POLL = 6
    ARTNET_REPLY = 7
    ARTNET_RDM = 8
    """ArtTodRequest, ArtTodData, ArtTodControl, ArtRdm, ArtRdmSub."""
    ARTNET_OTHER = 9
    ARP = 10
    DHCP = 11
    IGMP = 12
    LLDP = 13
    STP = 14
    MLD = 15
    E131_IPV6 = 16
    E131_DRAFT = 17
    ACN_OTHER = 18
    """A valid ACN packet on 5568 that is not E1.31."""
    BROKEN = 19
    """E1.31 or Art-Net that its receiver must discard; see ``Broken``."""
    FRAGMENT = 20
    OTHER_IP = 21
    OTHER = 22


_E131_DATA, _ARTNET_LEVELS = int(Kind.E131_DATA), int(Kind.ARTNET_LEVELS)
"""As plain numbers: numpy takes eight times as long to compare with a member of an enumeration."""

RARE = frozenset({
    Kind.E131_DISCOVERY, Kind.ARTNET_POLL, Kind.ARTNET_REPLY, Kind.ARTNET_RDM, Kind.ARTNET_OTHER, Kind.DHCP, Kind.IGMP,
    Kind.LLDP, Kind.STP, Kind.MLD, Kind.E131_IPV6, Kind.E131_DRAFT, Kind.ACN_OTHER,
})
"""Kinds that become records."""


class Fault(IntEnum):
    """What can be wrong with a lighting frame. A bit of ``Levels.faults`` is 1 << fault."""

    # The receiver must discard these: they stand in ``Broken`` only.
    E131_PREAMBLE = 0
    E131_POSTAMBLE = 1
    E131_FRAMING_VECTOR = 2
    DMP_VECTOR = 3
    DMP_TYPE = 4
    DMP_FIRST = 5
    DMP_INCREMENT = 6
    TOO_SHORT = 7
    """Ends before its fixed fields, or its lengths announce more than the datagram holds (never on cut rows)."""
    COUNT_RANGE = 8
    """Slot count outside what the standard allows."""
    ARTNET_VERSION = 9
    # These are decoded and reported.
    LENGTHS = 10
    """Flags-and-length fields disagree with each other, or octets stand behind the end."""
    PRIORITY_RANGE = 11
    UNIVERSE_RANGE = 12
    NAME_UNENDED = 13
    WRONG_GROUP = 14
    """Multicast to a group other than the universe's own."""
    ODD_LENGTH = 15
    PORT_ADDRESS_BIT = 16
    SYNC_ADDRESS_ZERO = 17


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """One entry for every row of the batch."""

    kind: Column
    """uint8, a Kind."""
    segment: Column
    """uint32."""
    mac: Column
    """uint64, source."""
    to_mac: Column
    """uint64, destination."""
    cast: Column
    """uint8."""
    src: Column
    """uint32 IPv4 source; 0 where there is none."""
    dst: Column
    """uint32 IPv4 destination; 0 where there is none."""

    @property
    def dark(self) -> Column:
        """bool: it carries no light."""
        dark: Column = (self.kind != _E131_DATA) & (self.kind != _ARTNET_LEVELS)
        return dark


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """E1.31 data, ArtDmx and ArtNzs that a receiver would accept."""

    row: Column
    """int32."""
    protocol: Column
    """uint8: E131 or ARTNET."""
    id_hi: Column
    """uint64: high half of the CID; for Art-Net the IPv4 source."""
    id_lo: Column
    """uint64: low half of the CID; for Art-Net the Physical field (0 for ArtNzs)."""
    universe: Column
    """uint16: E1.31 universe, or Port-Address."""
    priority: Column
    """uint8; 0 for Art-Net."""
    sequence: Column
    """uint8."""
    options: Column
    """uint8, E1.31 options octet, reserved bits masked off; 0 for Art-Net."""
    sync: Column
    """uint16, E1.31 synchronization address; 0 for Art-Net."""
    start_code: Column
    """uint8."""
    slots: Column
    """int32, number of slots that the frame says it has."""
    at: Column
    """int64, byte of ``batch.data`` where slot 1 stands; -1 where the capture does not hold all slots."""
    name: Column
    """uint64 fingerprint of the 64 name octets (0 for Art-Net): a change means that the name changed."""
    name_at: Column
    """int64, byte of ``batch.data`` where the E1.31 source name stands; -1 for Art-Net."""
    faults: Column
    """uint32 bit set of Fault."""


@dataclass(frozen=True, slots=True, eq=False)
class Syncs:
    """E1.31 synchronization and ArtSync."""

    row: Column
    protocol: Column
    id_hi: Column
    id_lo: Column
    address: Column
    """uint16 synchronization address; 0 for ArtSync."""
    sequence: Column


@dataclass(frozen=True, slots=True, eq=False)
class Arps:
    """ARP for IPv4 over Ethernet; segment, source MAC and cast are in ``Frames``."""

    row: Column
    op: Column
    """uint16: 1 request, 2 reply."""
    sha: Column
    spa: Column
    tha: Column
    tpa: Column


@dataclass(frozen=True, slots=True, eq=False)
class Rare:
    """Where each packet stands that becomes a record (``records.read``)."""

    row: Column
    kind: Column
    at: Column
    """int64: byte of ``batch.data`` where the payload begins (behind UDP for UDP kinds, the IGMP or ICMPv6 message, the
    LLDP data unit, the BPDU behind its LLC header)."""
    size: Column
    """int32: payload bytes by the protocol's own lengths, never more than captured."""
    cut: Column
    """bool: the capture holds less than the payload."""
    sport: Column
    """uint16 UDP source port; 0 without UDP."""
    dport: Column


@dataclass(frozen=True, slots=True, eq=False)
class Broken:
    """Lighting frames that a receiver must discard."""

    row: Column
    protocol: Column
    fault: Column
    """uint8, the first Fault found in the order of the standard."""


@dataclass(frozen=True, slots=True, eq=False)
class Kinds:
    """The different headers of a batch that is all light of known forms (``forms.py``): what holds of them holds of its rows."""

    form: Column
    """int64, rising."""
    within: int
    """So many rows from the beginning on hold them all."""
    wirelen: Column
    """int64 octets of its packets on the wire."""
    frames: Frames
    """One entry for each."""
    levels: Mapping[str, Column]
    """Columns of ``Levels`` by name, one entry for each; without those that move from row to row."""


@dataclass(frozen=True, slots=True, eq=False)
class Decoded:
    """All that one batch holds."""

    frames: Frames
    levels: Levels
    syncs: Syncs
    arps: Arps
    rare: Rare
    broken: Broken
    undecoded: dict[str, int]
    """Why rows were left (short lower-case reason: 'cut before headers', 'link type 105', ...), with counts."""
    form: Column | None = None
    """int64 for each row of ``levels``: rows of one number have the same header (``forms.py``), -1 = nothing is known of that."""
    turn: int = 0
    """Numbers of forms mean the same as long as this is the same."""
    kinds: Kinds | None = None
    """Only where each row of the batch is light of a known form: row and place in ``levels`` are the same there."""

    def rows(self, holds: Callable[[Frames], Column]) -> Column:
        """Rows of whose frames something holds; each header is asked once where headers come again."""
        if self.kinds is None or self.form is None:
            return np.flatnonzero(holds(self.frames))
        found = self.kinds.form[holds(self.kinds.frames)]
        return np.flatnonzero(np.isin(self.form, found)) if len(found) else np.zeros(0, np.int64)


# ---- records: frozen, in order of n, with their raw bytes (at most 1,522) ----


@record
class Record:
    """Common to all records. Addresses are text ('10.0.0.5'), MACs lower-case 'aa:bb:cc:dd:ee:ff' ('' = none)."""

    n: int
    segment: int
    mac: str
    to_mac: str
    src: str
    """IPv4 source, '' without IP."""
    dst: str
    raw: bytes
    """The whole captured packet from its link header, at most 1,522 bytes."""


@record
class Dhcp(Record):
    """A DHCP message (RFC 2131, RFC 2132). ``message`` 0 = BOOTP without option 53."""

    message: int
    op: int
    xid: int
    secs: int
    broadcast_flag: bool
    ciaddr: str
    """'' for 0.0.0.0, as all addresses here."""
    yiaddr: str
    siaddr: str
    giaddr: str
    chaddr: str
    """Client MAC."""
    mask: str = ""
    routers: tuple[str, ...] = ()
    host_name: str = ""
    broadcast: str = ""
    requested: str = ""
    lease: int | None = None
    """Seconds; 0xFFFFFFFF = for ever."""
    server: str = ""
    """Option 54."""
    parameters: bytes = b""
    text: str = ""
    t1: int | None = None
    t2: int | None = None
    vendor_class: str = ""
    client_id: bytes = b""
    relay: bytes = b""
    """Option 82 as it stands."""


@record
class IgmpRecord:
    """One group of an IGMP message."""

    group: str
    what: str
    """join, leave or still ('still listening', the answer to a query)."""


@record
class Igmp(Record):
    """An IGMP message (RFC 1112 App. I, RFC 2236, RFC 9776)."""

    version: int
    what: str
    """query or report (a leave is a report whose record says leave)."""
    group: str = ""
    """Queried group, '' = general query."""
    max_response: float = 0.0
    """Seconds."""
    robustness: int | None = None
    interval: int | None = None
    """QQIC in seconds (version 3)."""
    records: tuple[IgmpRecord, ...] = ()
    checksum_good: bool = True


@record
class Discovery(Record):
    """E1.31 universe discovery (E1.31-2018 section 8)."""

    cid: str
    name: str
    page: int
    last_page: int
    universes: tuple[int, ...]
    sorted_up: bool


@record
class Poll(Record):
    """ArtPoll."""

    flags: int
    priority: int
    target_top: int
    target_bottom: int


@record
class PollReply(Record):
    """ArtPollReply; all fields of the public layout. Port-Addresses are computed from NetSwitch, SubSwitch and SwIn/SwOut."""

    address: str
    firmware: int
    oem: int
    esta: int
    status1: int
    short_name: str
    long_name: str
    report: str
    ports: int
    port_types: tuple[int, ...]
    good_input: tuple[int, ...]
    good_output: tuple[int, ...]
    inputs: tuple[int, ...]
    """Port-Addresses that it sends (ports that can input)."""
    outputs: tuple[int, ...]
    """Port-Addresses that it puts out (ports that can output)."""
    acn_priority: int
    style: int
    node_mac: str
    bind_address: str
    bind_index: int
    status2: int
    good_output_b: tuple[int, ...]
    status3: int
    uid: str
    refresh: int


@record
class Rdm(Record):
    """RDM carried by Art-Net, summarised (E1.20)."""

    opcode: int
    port_address: int | None
    uids: tuple[str, ...]
    command_class: int | None
    parameter: int | None
    checksum_good: bool | None


@record
class ArtNetOther(Record):
    """Any other Art-Net packet: its OpCode, and its name where the public table has one ('' otherwise)."""

    opcode: int
    name: str


@record
class Lldp(Record):
    """LLDP: what the switch says of itself."""

    chassis: str
    port_id: str
    ttl: int
    port_text: str
    system_name: str
    vlan: int | None
    saves_power: bool = False
    """It offers to let the link sleep (Energy Efficient Ethernet)."""


@record
class Stp(Record):
    """A spanning-tree BPDU."""

    version: int
    type: int
    topology_change: bool
    root: str
    bridge: str
    port: int


@record
class Noticed(Record):
    """Something seen and counted, not read further: MLD, E1.31 over IPv6, the draft, other ACN."""

    kind: int
    detail: str


@record
class BrokenRecord(Record):
    """A record kind whose bytes cannot be what they claim to be."""

    kind: int
    reason: str
