"""All scenarios, by family."""

from __future__ import annotations

from rig.scenario import SCENARIOS
from rig.scenes import (
    addresses,
    artnet,
    both,
    cables,
    clean,
    contents,
    days,
    evening,
    garden,
    laptop,
    leases,
    light,
    loops,
    multicast,
    odd,
    ports,
    queriers,
    vlans,
)

__all__ = [
    "SCENARIOS", "addresses", "artnet", "both", "cables", "clean", "contents", "days", "evening", "garden", "laptop", "leases",
    "light", "loops", "multicast", "odd", "ports", "queriers", "vlans",
]
