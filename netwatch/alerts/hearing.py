"""Would we hear a stream if it were sent, and does its silence matter here? From where we listen, and who asked for what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import BROADCAST, MULTICAST
from netwatch.decode.text import address_text, mac_text
from netwatch.network.clock import FOR_EVER
from netwatch.network.network import Network

Mask = npt.NDArray[np.bool_]
I64 = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Hearing:
    """Of each flow: would we hear it if it were sent?"""

    until: I64
    """ns up to which we can hear it; 0 = can't be said."""
    since: I64
    """ns from which on: a silence counts from there at the earliest."""
    asked: I64
    """ns since when it is asked for here: its first packet may come a pause later."""
    matters: Mask
    """Its silence may be an alert: false for groups that nobody here asked for, and for other boxes' unicast."""


def of_flows(network: Network, used: Mask) -> Hearing:
    """Of all flows in use."""
    until, since, asked = (np.zeros(len(used), np.int64) for _ in range(3))
    matters = np.zeros(len(used), bool)
    for flow in np.flatnonzero(used).tolist():
        since[flow], until[flow], asked[flow], matters[flow] = _of_flow(network, flow)
    return Hearing(until, since, asked, matters)


def of_group(network: Network, segment: int, address: str) -> tuple[int, int, int, bool]:
    """(since, until, asked, matters) of whatever is sent to a group."""
    since, own = _all_since(network, segment), network.own(segment)
    if since is not None:
        return since, FOR_EVER, 0, True
    macs = {mac_text(mac) for mac in own}
    since, until = network.multicast.held(segment, address, macs)
    asked = network.multicast.asked(segment, address, macs)
    return since, until, asked, network.wanted(segment, address, own) != "not wanted"


def _all_since(network: Network, segment: int) -> int | None:
    """ns since which all that is sent to several is heard; None where it isn't."""
    return 0 if network.where(segment) == "mirror" else network.queries.floods.get(segment)


def _of_flow(network: Network, flow: int) -> tuple[int, int, int, bool]:
    """(since, until, asked, matters)."""
    streams = network.streams
    segment, cast = int(streams.segment[flow]), int(streams.cast[flow])
    own = network.own(segment)
    if cast == BROADCAST or int(streams.mac[flow]) in own:
        return 0, FOR_EVER, 0, True
    if cast == MULTICAST:
        return of_group(network, segment, address_text(int(streams.dst[flow])))
    since = _all_since(network, segment)
    if since is not None:
        return since, FOR_EVER, 0, True
    to_us = int(streams.to_mac[flow]) in own
    return 0, (FOR_EVER if to_us else 0), 0, to_us or not own
