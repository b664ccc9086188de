"""The picture at one moment: frozen, made at a tick end only when asked for. Screens and reports read this and nothing else.

Times are ns since 1970 UTC. Names were cleaned when they were decoded; they may still hold markup.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from netwatch.alerts.rule import DOUBTFUL
from netwatch.story.asked_view import AskedView
from netwatch.story.plan_view import PlanView

from .light_views import FrameView, LevelsView, WinnerView


@dataclass(frozen=True, slots=True)
class Listening:
    """Where we listen on one port (contracts 6)."""

    interface: str
    vantage: str
    """mirror, ordinary, wifi, limited or unknown."""
    reasons: tuple[str, ...]
    kind: str
    link: str
    """'up 1000 Mbit/s', 'down', or '' = not told."""
    addresses: tuple[str, ...]
    packets: int
    dropped: int


@dataclass(frozen=True, slots=True)
class Before:
    """Something that changed just before an alert."""

    at: int
    what: str
    """A kind of ``netwatch.network.changes.Change``."""
    text: str
    """A sentence without its full stop."""


@dataclass(frozen=True, slots=True)
class AlertView:
    """One alert with its words."""

    id: int
    code: str
    severity: str
    certainty: str
    interface: str
    vlan: int | None
    subject: str
    title: str
    first_step: str
    since: int
    opened: int
    last: int
    closed: int | None
    times: int
    again: int | None
    accepted: Mapping[str, Any] | None
    facts: Mapping[str, Any]
    packets: tuple[int, ...]
    steps: tuple[tuple[str, str], ...]
    """(what to do, what it disturbs)."""
    over: int | None
    """Id of the alert that explains this one."""
    under: tuple[int, ...]
    about_laptop: bool
    bytes: Mapping[int, str]
    """Hex of the packets that are still at hand, by packet number."""
    before: tuple[Before, ...] = ()
    """What changed in the two minutes before, nearest first; of alerts of severity 'now'."""
    quiet: int | None = None
    """Since when there was no new sign of it, where that is longer than it should be; None = it goes on, or is over."""
    waits: tuple[bool, ...] = ()
    """Of each step: does it stand under 'after the show'? In a show those come last."""
    places: tuple[str, ...] = ()
    """Where the boxes that it names stand, by the plan."""

    @property
    def doubtful(self) -> bool:
        """It is about the laptop, and what else is shown may be wrong because of it. Nobody said 'known'."""
        return self.about_laptop and self.severity in DOUBTFUL and not self.accepted


@dataclass(frozen=True, slots=True)
class StreamView:
    """One source on one universe."""

    interface: str
    vlan: int | None
    protocol: str
    """e131 or artnet."""
    universe: int
    source: str
    """CID as 32 hex digits, or 'address/physical'."""
    name: str
    address: str
    priority: int | None
    packets: int
    lost: int
    out_of_order: int
    repeated: int
    rate: float | None
    """Packets a second over its life."""
    rate_now: float
    """Packets a second in the newest full 10 s; while it is younger than that, over its life."""
    first: int
    last: int
    silent: bool
    ended: bool
    preview: bool
    destination: str
    """group, unicast or broadcast."""
    slots: int
    lit: int
    """DMX channels above zero in the newest frame."""
    last_change: int | None
    ours: bool = False
    """Sent by this laptop."""


@dataclass(frozen=True, slots=True)
class HostView:
    """One box, by its MAC."""

    interface: str
    vlan: int | None
    mac: str
    vendor: str
    addresses: tuple[str, ...]
    names: tuple[tuple[str, str], ...]
    """(name, where it came from)."""
    first: int
    last: int
    ours: bool
    """This laptop."""
    lease_from: str
    """Address of the DHCP server that it last named, '' unknown."""
    lease_until: int | None = None
    """When its address has to be given back, where the length of the lease was seen."""
    asks: tuple[int, ...] = ()
    """sACN universes whose groups it asks for."""
    asked_for: bool = False
    """First heard while this laptop asked."""


@dataclass(frozen=True, slots=True)
class NodeView:
    """What one reply of an Art-Net node says (one a bind)."""

    interface: str
    vlan: int | None
    mac: str
    """Of the box that sent it, '' = not known."""
    address: str
    name: str
    firmware: tuple[int, int]
    """VersInfo as it was told first, and as it was told last (Art-Net 4 (1.4di) p.25)."""
    outputs: tuple[int, ...]
    """Port-Addresses."""
    first: int
    last: int
    asked_for: bool = False
    """First heard while this laptop asked."""


@dataclass(frozen=True, slots=True)
class ServerView:
    """One DHCP server."""

    interface: str
    vlan: int | None
    address: str
    mac: str
    evidence: tuple[str, ...]
    first: int
    last: int
    clients: int


@dataclass(frozen=True, slots=True)
class QuerierView:
    """One box that asks who listens to multicast."""

    interface: str
    vlan: int | None
    address: str
    version: int
    queries: int
    interval: float | None
    """Seconds between its general queries."""
    last: int


@dataclass(frozen=True, slots=True)
class NeighbourView:
    """One port of a box that tells by LLDP who it is."""

    interface: str
    vlan: int | None
    mac: str
    chassis: str
    port: str
    text: str
    """What it says of the port, '' = nothing."""
    name: str
    port_vlan: int | None
    """The VLAN of frames without a tag on that port."""
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class BridgeView:
    """One port of a switch that speaks spanning tree."""

    interface: str
    vlan: int | None
    mac: str
    root: str
    """'32768/02:77:00:00:00:fe'; '' in a mere notice of a change."""
    bridge: str
    port: int
    version: int
    """0 STP, 2 RSTP, 3 MSTP (IEEE 802.1D-2004 9.3, 802.1Q 14.4)."""
    heard: int
    changes: int
    """Topology changes that it told of."""
    changed: int | None
    """When it told of one last."""
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class GroupView:
    """One multicast group of light."""

    interface: str
    vlan: int | None
    group: str
    universe: int | None
    wanted_here: str
    """wanted, perhaps, not wanted or unknown (contracts 6)."""
    last_join: int | None
    last_report: int | None
    last_data: int | None
    members: int
    """Boxes whose report was heard."""
    goes_dark_at: int | None = None
    """When the switch will drop it, or may do so at the earliest; None = nothing to fear, or not known to prune."""
    goes_dark_by: int | None = None
    """The latest such moment."""


@dataclass(frozen=True, slots=True)
class Ending:
    """Something that ends by itself unless something else happens first."""

    interface: str
    vlan: int | None
    what: str
    """lease, query or group."""
    name: str
    """The address that is lent, of the box that asks, or of the group."""
    at: int
    """When; of a range the earliest moment."""
    by: int | None
    text: str
    subject: str = ""
    """As in alerts, '' = none."""
    renews: int | None = None
    """Of a lease: when its box asks to keep it."""


@dataclass(frozen=True, slots=True)
class LoadView:
    """Traffic of one kind on one segment."""

    interface: str
    vlan: int | None
    kind: str
    packets: int
    bytes: int


@dataclass(frozen=True, slots=True)
class Happening:
    """One line of the record: opened, closed, entity seen, hole, clock, vantage, mark, sent."""

    at: int
    what: str
    text: str
    alert: int | None = None


@dataclass(frozen=True, slots=True)
class MarkView:
    """A moment that a person marked with a word."""

    at: int
    word: str
    alerts: tuple[int, ...]
    """Ids of those that were true then."""
    before: tuple[Before, ...]
    """What changed in the two minutes before, nearest first."""


@dataclass(frozen=True, slots=True)
class Check:
    """One of the eleven checks: FINE, WRONG, NOT YET, NOT FROM HERE, NOT USED HERE."""

    name: str
    state: str
    text: str
    """Why, in one short sentence; when it will be known, where to plug or what to press."""
    alert: int | None = None


@dataclass(frozen=True, slots=True)
class Station:
    """One place on the way of the light."""

    name: str
    """sender, switch, laptop, node or behind."""
    state: str
    """FINE, WRONG or CAN'T SEE."""
    texts: tuple[str, ...]
    alerts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Why:
    """One universe followed from its sender to the fixture; no stations where nothing is known of it."""

    protocol: str
    universe: int
    see: str | None
    at: int
    stations: tuple[Station, ...]
    verdict: str


@dataclass(frozen=True, slots=True)
class Said:
    """One field of a packet."""

    text: str
    """A sentence without its full stop."""
    first: int
    last: int
    """Octets of the packet, from 1."""
    octets: bytes
    clause: str
    """The standard's, which gives the field its meaning."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A table with a cap (contracts 8)."""

    table: str
    cap: int
    held: int
    refused: int
    evicted: int
    first_hit: int | None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All that is known at ``now``."""

    revision: int
    """Rises when anything shown may have changed."""
    now: int
    first: int | None
    last: int | None
    packets: int
    bytes: int
    dropped: int
    phase: str
    live: bool
    listening: tuple[Listening, ...]
    undecoded: Mapping[str, int]
    limits: tuple[Limit, ...]
    settings: Mapping[str, float]
    alerts: tuple[AlertView, ...]
    """By id (the order of opening)."""
    checks: tuple[Check, ...]
    streams: tuple[StreamView, ...]
    hosts: tuple[HostView, ...]
    servers: tuple[ServerView, ...]
    queriers: tuple[QuerierView, ...]
    groups: tuple[GroupView, ...]
    loads: tuple[LoadView, ...]
    happenings: tuple[Happening, ...]
    endings: tuple[Ending, ...] = ()
    """Soonest first."""
    nodes: tuple[NodeView, ...] = ()
    neighbours: tuple[NeighbourView, ...] = ()
    bridges: tuple[BridgeView, ...] = ()
    marks: tuple[MarkView, ...] = ()
    """By time."""
    phases: tuple[tuple[int, str], ...] = ()
    """When the phase changed, and to which."""
    levels: LevelsView | None = None
    """Of the universe that is looked at."""
    frames: tuple[FrameView, ...] = ()
    """Newest frames of the universe that is looked at, first heard first."""
    winners: tuple[WinnerView, ...] = ()
    """By universe; universes with one plain source are left out."""
    why: Why | None = None
    """Of the universe that was asked about."""
    asked: tuple[AskedView, ...] = ()
    """What this laptop asked on request, and what was answered, in order."""
    plan: PlanView | None = None
    """The plan against the rig; None without a plan."""
    power: str = ""
    """'On battery: 1 h 40 left'; '' = on mains, or not told."""


def nothing() -> Snapshot:
    """Before anything was read."""
    return Snapshot(
        revision=0, now=0, first=None, last=None, packets=0, bytes=0, dropped=0, phase="building", live=False, listening=(),
        undecoded={}, limits=(), settings={}, alerts=(), checks=(), streams=(), hosts=(), servers=(), queriers=(), groups=(),
        loads=(), happenings=(),
    )
