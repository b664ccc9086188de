"""What changes in who wants which group and who asks after it, as notes for ``Changes``."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from netwatch.decode.tables import Igmp
from netwatch.decode.text import mac_number
from netwatch.network.changes import Change
from netwatch.network.clock import NS
from netwatch.network.multicast import Act
from netwatch.network.switching import expected_interval

if TYPE_CHECKING:
    from netwatch.network.network import Network


def requests(network: Network, record: Igmp, time: int) -> None:
    """A request that is about to be folded: a box leaves a group, this laptop asks for one, somebody asks who listens."""
    if not record.checksum_good:
        return
    mac, n = mac_number(record.mac), record.n
    if record.what == "query":
        if not record.group and (record.segment, record.src) not in network.multicast.queriers:
            network.changes.note(Change(time, "querier", record.segment, n, mac, record.src))
        return
    for entry in record.records:
        group = network.multicast.groups.get((record.segment, entry.group))
        member = None if group is None else group.members.get(record.mac)
        if entry.what == "leave" and (member is None or member.left is None):
            network.changes.note(Change(time, "left", record.segment, n, mac, entry.group))
        elif entry.what == "join" and (member is None or member.left is not None) and mac in network.own(record.segment):
            network.changes.note(Change(time, "own-join", record.segment, n, mac, entry.group))


def acts(network: Network, told: Iterable[Act]) -> None:
    """This laptop's own requests, as a mark tells them."""
    for act in told:
        mac = min(network.own(act.segment), default=0)
        network.changes.note(Change(act.time, "own-join" if act.joined else "left", act.segment, mac=mac, address=act.group))


def queriers(network: Network, now: int) -> None:
    """At a step of the grid: a querier missed two of its turns (RFC 9776 8.5 waits for as many); told of the first."""
    for (segment, address), querier in network.multicast.queriers.items():
        interval = expected_interval(network, querier)
        due = max(querier.last, network.hole_end) + interval
        # A step later it was told already.
        if due + interval + int(querier.response * NS / 2) <= now < due + interval + int(querier.response * NS / 2) + 10 * NS:
            network.changes.note(Change(due, "querier-gone", segment, querier.numbers[-1], address=address))
