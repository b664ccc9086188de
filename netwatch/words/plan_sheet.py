"""Words of the printed plan, and of the page for the IT department before the job."""

from __future__ import annotations

from .phrases import count, number

TITLE, TITLE_IT = "Plan of the lighting network", "What the lighting network needs"
RIG, MADE, BOXES, NETWORKS, SERVER, RANGE, QUERIER, SHOWS = (
    "Rig", "Made from", "Boxes", "Subnets", "DHCP server", "It gives out", "Keeps multicast alive", "Shows",
)  # fmt: skip
BY_HAND, SUBNET, PLACES, ADDRESSES, UNIVERSES, LABELS = (
    "Setting an address by hand", "Subnet", "Place by place", "By address", "Universes", "Labels to cut out",
)  # fmt: skip
MASK, USABLE, GATEWAY, FIXED, FREE, LEAVE, UNUSED, TAKEN = (
    "Mask", "Addresses that boxes can have", "Gateway", "Set by the mask", "Yours to choose", "Leave to the DHCP server",
    "Still unused", "In use by the plan",
)  # fmt: skip
NO_GATEWAY = "none: leave it empty, or 0.0.0.0"
NOWHERE = "Place not told"
EXPLAIN = (
    "Every box of a subnet gets the same mask. The mask fixes the first part of the address: there all boxes must have the "
    "same numbers. The rest is yours, but each address only once, and never the first one (the network's own) or the last one "
    "(for all boxes). Many small boxes also refuse addresses that end in .0 or .255."
)
AFTER = (
    "A box restarts, or is gone for a moment, when its address or mask changes. Light may come back then: fixtures may move, "
    "strobes and lamps restart. Clear the area, and tell whoever calls the show."
)
CAUTION = (
    "A plan says how things should be, not how they are. For pyrotechnics, flames, motors, moving scenery and mains power, "
    "local codes and licensed people come first."
)
DONE = "Done"
COLUMNS = ("Device", "Asset", "Address", "Mask", "Sends", "Receives", DONE)
BY_ADDRESS = ("Address", "Device", "Place", "Asset", "MAC")
NUMBERS = ("sACN", "Group", "Art-Net", "Flat", "Desk", "Sent by", "Received by")
DHCP = "by DHCP"
SENDS, RECEIVES, ASSET, MAC = "sends", "receives", "asset", "MAC"
SACN = "sACN (E1.31)"

NEEDS = "We need, on the days of the job"
WHY = "Why"
CONTACT, ROOM, DATES = "Contact on our side", "Sockets (place, number)", "Days and times"


def boxes(fixed: int, dhcp: int, open_: int) -> str:
    """'40, of these 37 with fixed addresses, 3 by DHCP'."""
    parts = [f"{number(fixed)} with fixed addresses"] if fixed else []
    parts += [f"{number(dhcp)} by DHCP"] if dhcp else []
    parts += [f"{number(open_)} not decided"] if open_ else []
    return f"{number(fixed + dhcp + open_)}: {', '.join(parts)}"


def partly(first: int, last: int) -> str:
    """One of the four numbers that the mask cuts through."""
    return f"{first} to {last}"


# ---- for the IT department ----


def one_vlan(subnets: int, ports: int) -> tuple[str, str]:
    """(what, why)."""
    return (
        f"{'One VLAN' if subnets == 1 else count(subnets, 'VLAN', 'VLANs, one for each subnet')} for the lighting network alone, "
        f"untagged on {count(ports, 'socket', 'sockets')} and on all switches between them.",
        "Light is sent many times a second; office traffic and light should not meet. A tagged socket is silent for our boxes.",
    )


def querier(address: str) -> tuple[str, str]:
    """Of IGMP."""
    where = f"We bring one ({address})" if address else "in one switch of this VLAN, with an address in its subnet"
    return (
        f"IGMP snooping only together with one IGMP querier (version 2 or 3): {where}. No fast leave on sockets that feed "
        "other switches. If that can't be done: no snooping in this VLAN.",
        "With snooping and without a querier, switches forget who wants light: it goes dark two to five minutes after switch-on.",
    )


def no_isolation() -> tuple[str, str]:
    """Of clients."""
    return (
        "No client isolation, no private VLAN, no port security by number of MACs, no 802.1X on these sockets.",
        "Consoles and nodes talk to each other directly.",
    )


def edge_ports() -> tuple[str, str]:
    """Spanning tree."""
    return (
        "These sockets as edge ports (no spanning-tree delay), energy-saving Ethernet off, speed and duplex left to negotiate.",
        "Without that a box waits 30 s for the network after every restart, and may give up asking for an address.",
    )


def addresses(ranges: list[str], server: str, pool: str) -> tuple[str, str]:
    """Which range, who gives addresses."""
    dhcp = f"Our server {server} gives out {pool}" if pool else f"Our server {server} gives out addresses" if server else ""
    return (
        f"The subnet{'s' if len(ranges) > 1 else ''} {', '.join(ranges)} for us. "
        + (f"{dhcp}: no other DHCP server in this VLAN, and no relay to one." if dhcp else "No DHCP server in this VLAN."),
        "Two servers give boxes addresses that do not fit together.",
    )


def storm(universes: int, packets: int) -> tuple[str, str]:
    """Limits of multicast and broadcast."""
    return (
        f"No limit for multicast and broadcast (storm control) below {number(packets)} packets a second.",
        f"{count(universes, 'universe', 'universes')} of light are so many packets when everything moves.",
    )


def load(mbit: float, groups: int, first: str, last: str) -> tuple[str, str]:
    """How much, and where it goes."""
    return (
        f"Room for {mbit:.0f} Mbit/s and {count(groups, 'multicast group', 'multicast groups')} ({first} to {last}, and "
        "239.255.250.214) on each link between switches; UDP ports 5568 (sACN) and 6454 (Art-Net) open within the VLAN.",
        "Each universe is one group of its own; a switch that can't hold them all sends the rest to every socket.",
    )


def no_internet(gateway: bool) -> tuple[str, str]:
    """Routing."""
    return (
        "A gateway as named below." if gateway else "No gateway and no way to the Internet.",
        "Nothing of the show needs the Internet, and nobody outside should reach it.",
    )
