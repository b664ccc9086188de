"""Words of what 'plan make' proposes, and of what it could not."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypeAlias

from .phrases import Facts, count, listing, mask, number
from .plan_checks import lights, offset

Said: TypeAlias = Callable[[Facts], str]
STEPS: Mapping[str, Said] = {
    "range": lambda f: f"DHCP gives out {f['first']} to {f['last']}: {number(f['size'])} addresses, "
    f"{number(f['wanted'])} of them for boxes of the plan.",
    "address": lambda f: f"{f['name']}: {f['address']}, mask {mask(f['prefix'])}.",
    "numbers": lambda f: f"{count(f['lines'], 'line', 'lines')} of universes: {lights(f['lights'])}; Art-Net's number is "
    f"{offset(f['offset'])}.",
    "no-server": lambda f: f"{count(f['wanted'], 'box waits', 'boxes wait')} for DHCP, but no box gives addresses: "
    "write [dhcp] with server = \"its name\".",
    "server-outside": lambda f: f"No range for DHCP: the server {f['server']} lies in none of the plan's subnets; "
    "correct its address, or add its subnet.",
    "no-range": lambda f: f"No range for DHCP: {f['subnet']} has no {number(f['size'])} free addresses in a row; "
    "use a shorter mask, or write first and last yourself.",
    "unread": lambda f: f"{f['name']} gets no address: what stands under {listing(f['headings'], 4)} was not understood; "
    "perhaps it has one.",
    "no-subnet": lambda f: f"{f['name']} gets no address: the plan names no subnet; write [[subnet]] and below it "
    "network = \"10.0.0.0/16\" or what yours is.",
    "which-subnet": lambda f: f"{f['name']} gets no address: it can't be told whether it belongs into "
    f"{listing(f['subnets'], 4)}; give it universes or a place that others there have, or an address.",
    "subnet-full": lambda f: f"{f['name']} gets no address: no free one is left in {f['subnet']}; use a shorter mask.",
    "no-querier": lambda f: "Which box keeps multicast alive can't be told from here: choose one switch for it, "
    "switch its IGMP querier on, and write [querier] with device = \"its name\".",
}


def text(code: str, facts: Facts) -> str:
    """One sentence."""
    return STEPS[code](facts)
