"""What changes in who wants which group and who asks after it, as notes for ``Changes``."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from netwatch.decode.tables import Igmp
from netwatch.decode.text import mac_number
from netwatch.network.changes import Change
from netwatch.network.clock import NS
from netwatch.network.multicast import Act, Multicast
from netwatch.network.switching import expected_interval

if TYPE_CHECKING:
    from netwatch.network.network import Network


def requests(network: Network, multicast: Multicast, record: Igmp, time: int) -> None:
    """A request that is about to be folded: a box leaves a group, this laptop asks for one, somebody asks who listens."""
    if record.what == "query":
        if not record.group and (record.segment, record.src) not in multicast.queriers:
            network.changes.note(Change(time, "querier", record.segment, record.n, mac_number(record.mac), record.src))
        return
    for entry in record.records:
        group = multicast.groups.get((record.segment, entry.group))
        member = None if group is None else group.members.get(record.mac)
        joined, what = member is not None and member.left is None, ""
        if entry.what == "leave" and (member is None or joined):
            what = "left"
        elif entry.what == "join" and not joined and mac_number(record.mac) in network.own(record.segment):
            what = "own-join"
        if what:
            network.changes.note(Change(time, what, record.segment, record.n, mac_number(record.mac), entry.group))


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
