"""Words of the contradictions in a plan: what is wrong, and what to do."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeAlias

from .phrases import Facts, count, listing, mask, mbit, number, ranges, three_number_ranges

Said: TypeAlias = Callable[[Facts], str]


def lights(found: Iterable[Any]) -> str:
    """'sACN 1-8', 'Art-Net 0.0.0-0.0.7 (0-7)', or both; each has ``protocol`` and ``number``."""
    items = list(found)
    sacn = [each.number for each in items if each.protocol == "e131"]
    artnet = [each.number for each in items if each.protocol == "artnet"]
    parts = [f"sACN {ranges(sacn)}"] if sacn else []
    parts += [f"Art-Net {three_number_ranges(artnet, 3)} ({ranges(artnet, 3)})"] if artnet else []
    return " and ".join(parts)


def _names(facts: Facts) -> str:
    return listing(facts.get("names") or (), 4)


def _pool(facts: Facts) -> str:
    return f"{facts['first']} to {facts['last']}"


def offset(value: int) -> str:
    return f"sACN less {-value}" if value < 0 else f"sACN plus {value}" if value else "the same as sACN's"


def _far(facts: Facts) -> str:
    return f"{facts['sender']} sends {lights(facts['lights'])} to {facts['receiver']}"


CHECKS: Mapping[str, tuple[Said, str]] = {
    "name-twice": (
        lambda f: f"{count(len(f['names']), 'box is', 'boxes are')} called {f['names'][0]}.",
        "Give each a name of its own: a name is how a box is found again.",
    ),
    "unread": (
        lambda f: f"{f['name']}: what stands under {listing(f['headings'], 4)} was not understood and is left out.",
        "Correct the cells that are told above; they can't be checked as they are.",
    ),
    "address-twice": (
        lambda f: f"{_names(f)} have the same address, {f['address']}.",
        "Give all but one of them a free address.",
    ),
    "mac-twice": (
        lambda f: f"{_names(f)} have the same MAC address, {f['mac']}.",
        "Read both off the boxes again: one of them is a slip.",
    ),
    "asset-twice": (lambda f: f"{_names(f)} have the same asset number, {f['asset']}.", "Look at the labels."),
    "subnets-overlap": (
        lambda f: f"The subnets {f['wide']} and {f['narrow']} overlap.",
        "Use one mask for all of them, or ranges that lie apart; 'netwatch reach' shows what overlapping does.",
    ),
    "no-address": (
        lambda f: f"{f['name']} has neither a fixed address nor DHCP.",
        "'netwatch plan make' proposes one; or write address = \"dhcp\".",
    ),
    "no-server": (
        lambda f: f"{f['name']} waits for DHCP, but the plan names no server.",
        "Name the one box that gives addresses in [dhcp], or give fixed addresses.",
    ),
    "link-local": (
        lambda f: f"{f['name']} has {f['address']}: boxes make up such addresses when they find no DHCP server.",
        "Give it an address of the rig's subnet.",
    ),
    "outside": (
        lambda f: f"{f['name']} has {f['address']}, which lies in none of the plan's subnets.",
        "Correct the address, or add its subnet.",
    ),
    "mask-differs": (
        lambda f: f"{f['name']} has mask {mask(f['prefix'])}, but its subnet has {mask(f['right'])}.",
        "Set the same mask on all boxes of a subnet.",
    ),
    "no-host": (
        lambda f: f"{f['name']} has {f['address']}, which is the {f['role']} address of {f['subnet']}: no box can have it.",
        "Give it another one.",
    ),
    "small-boxes": (
        lambda f: f"{f['name']} has {f['address']}: the mask allows it, but many small devices refuse addresses that end so.",
        "Use one that ends in 1 to 254.",
    ),
    "in-pool": (
        lambda f: f"{f['name']} has the fixed address {f['address']}, which the DHCP server gives to others ({_pool(f)}).",
        "Move it out of that range, or make the range smaller.",
    ),
    "pool-outside": (
        lambda f: f"The range that DHCP gives out ({_pool(f)}) lies in none of the plan's subnets, or in two of them.",
        "Keep it inside one subnet.",
    ),
    "pool-elsewhere": (
        lambda f: f"The DHCP server {f['server']} is not in {f['subnet']}, whose addresses it gives out.",
        "Put it into that subnet, or give out addresses of its own.",
    ),
    "pool-ends": (
        lambda f: f"The range that DHCP gives out holds {f['address']}, which no box of {f['subnet']} can have.",
        "Begin one later, end one earlier.",
    ),
    "pool-small": (
        lambda f: f"{number(f['wanted'])} boxes want addresses from DHCP, but it has only {number(f['size'])} to give.",
        "Make the range larger.",
    ),
    "pool-tight": (
        lambda f: f"DHCP has {number(f['size'])} addresses for {count(f['wanted'], 'box', 'boxes')} of the plan: "
        f"fewer than {number(f['strangers'])} are left for laptops, phones and hired boxes.",
        "Make the range larger, and leases short.",
    ),
    "sent-twice": (
        lambda f: f"{_names(f)} both send {lights(f['lights'])}"
        + (": nodes mix the two." if f["artnet"] else " at the same priority: they will fight."),
        "Decide who owns it; give a backup a lower priority.",
    ),
    "standby": (
        lambda f: f"{_names(f)} send {lights(f['lights'])} at different priorities: one stands by for the other.",
        "Nothing, if that is meant.",
    ),
    "nobody-sends": (
        lambda f: f"Nobody in the plan sends {lights(f['lights'])}, which {_names(f)} should receive.",
        "Add the sender, or correct the number.",
    ),
    "nobody-receives": (
        lambda f: f"Nobody in the plan receives {lights(f['lights'])} of {_names(f)}.",
        "Nothing, if those are spare; else correct the number.",
    ),
    "artnet-apart": (
        lambda f: f"{_far(f)}, but the two are in different subnets: Art-Net goes to one box and does not get there.",
        "Put both into one subnet.",
    ),
    "vlans-apart": (lambda f: f"{_far(f)}, but the two are in different VLANs.", "Put both into one VLAN."),
    "numbered-twice": (lambda f: f"{lights(f['lights'])} stands twice among the universes.", "Take one of the two lines out."),
    "desk-twice": (lambda f: f"Two universes are both called {f['desk']} on the desk.", "Correct one of them."),
    "offset-differs": (
        lambda f: f"{lights(f['lights'])} belong together, but elsewhere Art-Net's number is {offset(f['offset'])}.",
        "Count the same way everywhere, or tell everybody.",
    ),
    "not-numbered": (
        lambda f: f"{lights(f['lights'])} {'has' if len(f['lights']) == 1 else 'have'} no line among the universes.",
        "'netwatch plan make' proposes the missing numbers.",
    ),
    "group-same": (
        lambda f: f"{f['name'] or 'Another group'} uses {f['address']}, the group of {lights(f['lights'])}: "
        "whoever wants the one gets the other.",
        "Give it a group outside 239.255.x.x.",
    ),
    "group-mac": (
        lambda f: f"{f['name'] or 'Another group'} uses {f['address']}, which has the same MAC ({f['mac']}) as "
        f"{f['group']}, the group of {lights(f['lights'])}: switches can't tell them apart.",
        "Give it a group whose second number is neither 127 nor 255.",
    ),
    "no-querier": (
        lambda f: "sACN goes by multicast, but the plan names no box that keeps it alive (the IGMP querier).",
        "Choose one switch for it, switch it on there, and write [querier] with device = \"its name\".",
    ),
    "many-groups": (
        lambda f: f"{number(f['groups'])} universes are as many multicast groups: many small switches hold 256 or fewer.",
        "Look into the manuals of the switches.",
    ),
    "link-full": (
        lambda f: f"{f['name']} {f['way']} {mbit(f['mbit'])} when all is full, on a link of {number(f['speed'])} Mbit/s"
        + (" (taken for granted: the plan does not tell)." if f["assumed"] else "."),
        "Use a faster link, or spread the universes over more boxes.",
    ),
    "flood-full": (
        lambda f: f"If a switch passes all sACN on, {mbit(f['mbit'])} go to every port; the slowest has {number(f['speed'])}.",
        "See that all switches filter multicast (IGMP snooping), with one querier.",
    ),
}
"""By code: what is wrong, and what to do."""


def text(code: str, facts: Facts) -> str:
    """One sentence."""
    return CHECKS[code][0](facts)


def advice(code: str) -> str:
    """What to do."""
    return CHECKS[code][1]
