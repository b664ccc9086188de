"""All scenarios, by family."""

from __future__ import annotations

from rig.scenario import SCENARIOS
from rig.scenes import addresses, cables, clean, evening, leases, light, loops, multicast, odd, queriers, vlans

__all__ = [
    "SCENARIOS", "addresses", "cables", "clean", "evening", "leases", "light", "loops", "multicast", "odd", "queriers", "vlans",
]
