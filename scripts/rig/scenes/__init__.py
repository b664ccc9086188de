"""All scenarios, by family."""

from __future__ import annotations

from rig.scenario import SCENARIOS
from rig.scenes import addresses, clean, evening, leases, light, multicast, odd

__all__ = ["SCENARIOS", "addresses", "clean", "evening", "leases", "light", "multicast", "odd"]
