"""Light that came to this laptop's card and was meant for it, but did not get through to its programs.

Looked at with each mark, since a mark stands at one place of the input: it does not matter how the rest was cut.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import ARTNET, BROADCAST, E131, MULTICAST
from netwatch.decode.text import address_text
from netwatch.network import masks

if TYPE_CHECKING:
    from netwatch.network.network import Network

PORTS = {E131: 5568, ARTNET: 6454}
"""UDP port of each protocol (E1.31-2018 9.1.1, Art-Net 4 (1.4di) p.10)."""
Mask = npt.NDArray[np.bool_]


@dataclass(slots=True)
class Kept:
    """One UDP port through which nothing came since a mark."""

    since: int
    """ns of the first mark that said so."""
    base: int
    """Packets of light for us until then."""
    missed: int = 0
    """Packets for us that came to the card since."""
    grew: int = 0
    """ns of the newest mark with more of them."""
    numbers: tuple[int, ...] = ()
    """Newest packet of some of these flows."""


def follow(network: Network, port: int, time: int) -> None:
    """A mark of a port came."""
    state = network.vantage.port(port)
    for protocol, udp_port in PORTS.items():
        told = state.laptop.reaches.get(udp_port)
        if told is not False:
            state.kept_out.pop(udp_port, None)
            continue
        flows = meant_for_us(network, port, protocol)
        count = int(network.streams.packets[flows].sum())
        kept = state.kept_out.get(udp_port)
        if kept is None:
            state.kept_out[udp_port] = Kept(time, count, grew=time)
            continue
        kept.base = min(kept.base, count)  # flows may have been forgotten
        if count - kept.base > kept.missed:
            kept.missed, kept.grew = count - kept.base, time
            kept.numbers = tuple(sorted(network.streams.last_n[flows].tolist())[-3:])


def meant_for_us(network: Network, port: int, protocol: int) -> npt.NDArray[np.int64]:
    """Flows that the system must hand on to programs that want them: to our address, to all, or to a group that we asked for.

    Only those from our own networks: a system may refuse what comes from elsewhere (RFC 3704), as it refuses its own addresses.
    """
    state, streams, segment = network.vantage.port(port), network.streams, port << 24
    networks = [each.network for each in state.laptop.addresses if 0 < each.network.prefixlen < 31]
    if not networks or state.laptop.master:
        return np.zeros(0, np.int64)
    size, own = streams.table.size, network.own(segment)
    ours = [int(each.ip) for each in state.laptop.addresses]
    everybody = [masks.WHOLE, *(int(each.broadcast_address) for each in networks)]
    src, dst, cast = streams.src[:size], streams.dst[:size], streams.cast[:size]
    near = np.zeros(size, bool)
    for each in networks:
        near |= src & int(each.netmask) == int(each.network_address)
    here: Mask = streams.table.used[:size] & (streams.segment[:size] == segment) & (streams.protocol[:size] == protocol)
    mine = [*ours, *(int(each.ip) for other in state.laptop.others for each in other.addresses)]
    here &= near & ~np.isin(src, mine) & ~np.isin(streams.mac[:size], list(own))
    to_us = (cast == BROADCAST) & np.isin(dst, everybody)
    to_us |= np.isin(dst, ours) & np.isin(streams.to_mac[:size], list(own))
    groups = np.unique(dst[here & (cast == MULTICAST)]).tolist()
    wanted = [group for group in groups if network.wanted(segment, address_text(group), own) == "wanted"]
    return np.flatnonzero(here & (to_us | ((cast == MULTICAST) & np.isin(dst, wanted))))
