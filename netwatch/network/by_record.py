"""Records, folded into the tables that they are about."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from netwatch.decode.tables import BrokenRecord, Dhcp, Discovery, Igmp, Lldp, Poll, PollReply, Record, Stp
from netwatch.network import asked, watching
from netwatch.network.announced import Listing
from netwatch.network.changes import Change
from netwatch.network.leases import ACK, DECLINE, NAK, OFFER, Leases
from netwatch.network.multicast import Multicast
from netwatch.network.reading import Heard

if TYPE_CHECKING:
    from netwatch.network.network import Network

_MOST_REASONS = 32
_POLLERS, _LEASES, _ANSWERS, _DECLINES = ("pollers",), ("leases",), ("leases", "answers"), ("leases", "declines")
_OF_DHCP = {OFFER: _ANSWERS, ACK: _ANSWERS, NAK: _ANSWERS, DECLINE: _DECLINES}
_MULTICAST, _QUERIES, _PARTED = ("multicast",), ("multicast", "queries"), ("multicast", "parted")


def fold(network: Network, found: Sequence[Heard]) -> None:
    """Records of one tick, in order of n."""
    leases, multicast, pollers = network.leases, network.multicast, network.pollers
    beside, changed = (network.changes.noted, multicast.reporters), set[tuple[str, ...]]()
    for record, _, time in found:
        if isinstance(record, Dhcp):
            changed.add(_dhcp(network, leases, record, time))
        elif isinstance(record, Igmp):
            changed.add(_igmp(network, multicast, record, time))
        elif isinstance(record, Poll):
            pollers.fold(record, time)
            changed.add(_POLLERS)
        else:
            changed.add(_rarer(network, record, time))
    if parts := {part for each in changed for part in each}:
        network.revision += 1
        network.parts.note(parts)
    network.revision += (() in changed) + (beside != (network.changes.noted, multicast.reporters))


def _dhcp(network: Network, leases: Leases, record: Dhcp, time: int) -> tuple[str, ...]:
    """The parts that it changed."""
    if not record.message:
        _unread(network, "DHCP without a type")
    known, waits = leases.servers.held if record.server else 0, leases.waits
    client = leases.fold(record, time)
    if record.server and leases.servers.held > known:
        network.changes.note(Change(time, "server", record.segment, record.n, address=record.server))
    if record.to_mac == record.chaddr:
        network.vantage.answer(record)
    if network.questions and asked.answered(network.questions, record):
        leases.answered(record)
    begins = network.starts.dhcp(record, time, None if client is None else client.chose)
    changed = _OF_DHCP.get(record.message, _LEASES)
    if leases.waits != waits:
        changed = (*changed, "waiting")
    return (*changed, "starts") if begins else changed


def _igmp(network: Network, multicast: Multicast, record: Igmp, time: int) -> tuple[str, ...]:
    """The parts that it changed."""
    if record.checksum_good:
        watching.requests(network, multicast, record, time)
        multicast.fold(record, time)
    else:
        _unread(network, "IGMP with a wrong sum")
    if record.what == "query":
        return _QUERIES
    parted = multicast.parted
    return _PARTED if parted and any((record.segment, each.group) in parted for each in record.records) else _MULTICAST


def _rarer(network: Network, record: Record, time: int) -> tuple[str, ...]:
    """The parts that it changed; () = something else, or nothing."""
    match record:
        case PollReply():
            network.nodes.fold(record, time, network.pollers)
            return ("nodes",)
        case Stp():
            network.links.bpdu(record, time)
            network.neighbours.bpdu(record, time)
        case Lldp():
            network.links.lldp(record)
            network.neighbours.hear(record, time)
        case Discovery():
            listing = network.announced.touch((record.segment, record.cid), time, Listing)
            if listing is not None:
                listing.hear(record, time)
            return ("announced",)
        case BrokenRecord():
            _unread(network, record.reason)
    return ()


def _unread(network: Network, reason: str) -> None:
    """Reasons may hold numbers of a stranger's, so there is an end to them, too."""
    network.unread[reason if reason in network.unread or len(network.unread) < _MOST_REASONS else "for other reasons"] += 1
