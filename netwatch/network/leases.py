"""DHCP as heard: servers, clients and what they were given (RFC 2131).

From an ordinary port no OFFER and no ACK is seen (they are unicast); a server shows itself only where clients name it
(option 54) and in refusals, which are always broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from netwatch.decode.tables import Dhcp
from netwatch.network.capped import Capped
from netwatch.numbers import Numbers

DISCOVER, OFFER, REQUEST, DECLINE, ACK, NAK, RELEASE, INFORM = range(1, 9)
FOR_EVER = 0xFFFFFFFF
"""A lease without end (RFC 2131 3.3)."""
_FEW = 16
_MANY = 256
_EVERYBODY = "ff:ff:ff:ff:ff:ff"


@dataclass(frozen=True, slots=True)
class Answer:
    """The newest OFFER or ACK for one address."""

    at: int
    n: int
    mask: str
    router: str
    lease: int | None


@dataclass(slots=True)
class Server:
    """One DHCP server, by the address that stands in option 54."""

    address: str
    first: int
    last: int
    mac: str = ""
    """MAC of its own messages; '' while only clients spoke of it."""
    evidence: dict[str, int] = field(default_factory=dict)
    """'named by a client', 'offered', 'gave', 'refused' to packet number of the first."""
    numbers: list[int] = field(default_factory=list)
    clients: dict[str, int] = field(default_factory=dict)
    """Client MAC to when it last chose this server; the newest 256."""
    masks: list[str] = field(default_factory=list)
    routers: list[str] = field(default_factory=list)
    leases: list[int] = field(default_factory=list)
    given: list[str] = field(default_factory=list)
    """Addresses that it offered or that clients asked of it, the newest 256."""
    relays: list[str] = field(default_factory=list)
    answers: dict[str, Answer] = field(default_factory=dict)
    """By address, the one answered last at the end; the newest 256."""


@dataclass(slots=True)
class Client:
    """One DHCP client, by its MAC."""

    mac: str
    first: int
    name: str = ""
    tries: list[tuple[int, int]] = field(default_factory=list)
    """(ns, n) of DISCOVERs since it last chose a server, the newest 16."""
    tried: int = 0
    asks_since: int | None = None
    """ns of the first of them."""
    chose: int | None = None
    """When it last named a server."""
    server: str = ""
    address: str = ""
    """Last address that it asked for or was given."""
    lease: int | None = None
    rebinds: list[tuple[int, int]] = field(default_factory=list)
    """(ns, n) of REQUESTs to any server that prolongs its lease (RFC 2131 4.3.2), since it last got an answer; the newest 16."""
    met: int = 0
    """So many clients came before it."""
    waits: bool = False
    """It is one of ``Leases.waiting``."""

    @property
    def called(self) -> str:
        """Its name, else its MAC; other links than Ethernet have addresses of other lengths (RFC 2131 2)."""
        return self.name or self.mac or "a box that is not of Ethernet"

    def served(self, time: int, server: str) -> None:
        """It chose a server, or was given an address."""
        self.chose, self.server, self.asks_since, self.tried = time, server, None, 0
        self.tries.clear()
        self.rebinds.clear()


@dataclass(frozen=True, slots=True)
class Refusal:
    """A NAK by one server right after the client had named another."""

    at: int
    client: str
    named: str
    refused_by: str
    numbers: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Offer:
    """An OFFER as seen (only where it is broadcast, or on a mirror port)."""

    at: int
    xid: int
    server: str
    address: str
    mask: str
    router: str
    n: int


@dataclass(frozen=True, slots=True)
class Decline:
    """A client says that the address it was given is in use already."""

    at: int
    client: str
    server: str
    n: int


class Leases:
    """Per segment: servers, clients, refusals, offers, declines."""

    def __init__(self, numbers: Numbers) -> None:
        self.numbers = numbers
        self.servers: Capped[tuple[int, str], Server] = Capped("DHCP servers", int(numbers.cap_servers))
        self.clients: Capped[tuple[int, str], Client] = Capped("DHCP clients", int(numbers.cap_clients))
        self.waiting: dict[tuple[int, str], Client] = {}
        """Those that asked often since they last chose a server, or ask any server to prolong their lease."""
        self.waits = 0
        """Rises with whatever changes those."""
        self.refusals: list[tuple[int, Refusal]] = []
        self.offers: list[tuple[int, Offer]] = []
        self.declines: Capped[tuple[int, str], list[Decline]] = Capped("declined addresses", int(numbers.cap_declines))
        """By (segment, address), the newest 16 of each."""
        self._named: dict[tuple[int, str], tuple[int, str, int]] = {}

    def fold(self, record: Dhcp, time: int) -> Client | None:
        """One message, in order of n; gives its client, None without a type or where the table is full."""
        if record.message == 0:
            return None
        key = record.segment, record.chaddr
        client = self.clients.touch(key, time, self._meet, record.chaddr, time)
        if client is None:
            return None
        if record.host_name:
            client.name = record.host_name
        if record.message == DISCOVER:
            client.tries.append((time, record.n))
            client.tried += 1
            client.asks_since = time if client.asks_since is None else client.asks_since
            if len(client.tries) > _FEW:
                del client.tries[:-_FEW]
        elif record.message == REQUEST:
            self._request(record, time, client)
        elif record.message == DECLINE:
            self._decline(record, time, record.requested or client.address)
        elif record.message in (OFFER, ACK, NAK):
            self._answer(record, time, client)
        waits = bool(client.rebinds) or len(client.tries) >= self.numbers.discover_least
        if waits or client.waits:
            client.waits, self.waits = waits, self.waits + 1
            if waits:
                self.waiting[key] = client
            else:
                del self.waiting[key]
        return client

    def _meet(self, mac: str, time: int) -> Client:
        return Client(mac, time, met=self.clients.held + self.clients.evicted)

    def _request(self, record: Dhcp, time: int, client: Client) -> None:
        if record.requested:
            client.address = record.requested
        if not record.server:
            if record.ciaddr and not record.requested and record.to_mac == _EVERYBODY:
                client.address = record.ciaddr
                client.rebinds.append((time, record.n))
                del client.rebinds[:-_FEW]
            return
        client.served(time, record.server)
        self._named[record.segment, record.chaddr] = (time, record.server, record.n)
        if len(self._named) > self.numbers.cap_clients:
            del self._named[next(iter(self._named))]
        server = self._server(record, time, "named by a client")
        if server is not None:
            server.clients.pop(client.mac, None)
            server.clients[client.mac] = time
            _keep(server.given, record.requested)
            if len(server.clients) > _MANY:
                del server.clients[next(iter(server.clients))]

    def _decline(self, record: Dhcp, time: int, address: str) -> None:
        declines = self.declines.touch((record.segment, address), time, list) if address else None
        if declines is not None:
            declines.append(Decline(time, record.chaddr, record.server, record.n))
            del declines[:-_FEW]

    def _answer(self, record: Dhcp, time: int, client: Client) -> None:
        if not record.server:
            return
        how = {OFFER: "offered", ACK: "gave", NAK: "refused"}[record.message]
        server = self._server(record, time, how)
        if server is None:
            return
        server.mac = record.mac if not record.giaddr else server.mac
        if record.giaddr:
            _keep(server.relays, record.giaddr)
        if record.message == NAK:
            client.rebinds.clear()
            named = self._named.get((record.segment, record.chaddr))
            within = int(self.numbers.nak_after_request_s * 1e9)
            if named is not None and named[1] != record.server and time - named[0] <= within:
                refusal = Refusal(time, record.chaddr, named[1], record.server, (named[2], record.n))
                self.refusals.append((record.segment, refusal))
                del self.refusals[:-_FEW]
            return
        _keep(server.masks, record.mask)
        _keep(server.routers, record.routers[0] if record.routers else "")
        _keep(server.given, record.yiaddr)
        self._note_answer(record, time, server)
        if record.lease is not None and record.lease not in server.leases:
            server.leases.append(record.lease)
            del server.leases[:-_FEW]
        if record.message == ACK and record.lease is not None:
            client.address, client.lease = record.yiaddr, record.lease
            client.served(time, record.server)
        elif record.message == OFFER:
            router = record.routers[0] if record.routers else ""
            offer = Offer(time, record.xid, record.server, record.yiaddr, record.mask, router, record.n)
            self.offers.append((record.segment, offer))
            del self.offers[:-64]

    @staticmethod
    def _note_answer(record: Dhcp, time: int, server: Server) -> None:
        address = record.yiaddr or record.ciaddr
        if address:
            server.answers.pop(address, None)
            router = record.routers[0] if record.routers else ""
            server.answers[address] = Answer(time, record.n, record.mask, router, record.lease)
            if len(server.answers) > _MANY:
                del server.answers[next(iter(server.answers))]

    def _server(self, record: Dhcp, time: int, how: str) -> Server | None:
        server = self.servers.touch((record.segment, record.server), time, Server, record.server, time, time)
        if server is not None:
            server.last = time
            if how not in server.evidence:
                server.evidence[how] = record.n
            server.numbers.append(record.n)
            del server.numbers[2:-3]
        return server

    def answered(self, record: Dhcp) -> None:
        """A server answered what this laptop asked."""
        server = self.servers.get((record.segment, record.server))
        if server is not None:
            server.evidence.setdefault("answered this laptop", record.n)

    def evict(self, time: int) -> None:
        """At tick end."""
        self.servers.evict(time)
        before = self.clients.evicted
        self.clients.evict(time)
        if self.clients.evicted > before:
            for key in [key for key in self.waiting if self.clients.get(key) is None]:
                del self.waiting[key]
        self.declines.evict(time)


def _keep(values: list[str], value: str) -> None:
    """Add a value once; the newest 256 stay."""
    if value and value not in values:
        values.append(value)
        del values[:-_MANY]
