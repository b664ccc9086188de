"""Do two flows carry the same light? By the frames that changed, and by their levels where nothing moves."""

from __future__ import annotations

import numpy as np

from netwatch.alerts.rule import NS
from netwatch.network import prints
from netwatch.network.network import Network


def alike(network: Network, now: int, a: int, b: int) -> bool | None:
    """True = the same light, False = not the same; None = can't be said."""
    streams, numbers = network.streams, network.numbers
    within = int(numbers.same_light_within_s * NS)
    if streams.prints.on:
        tested, found = prints.alike(streams.prints, np.array([a]), np.array([b]), within)
        if tested[0] >= numbers.same_light_frames:
            share = found[0] / tested[0]
            return True if share >= numbers.same_light else False if share < numbers.other_light else None
        if any(_moves_alone(network, now - within, *pair) for pair in ((a, b), (b, a))):
            return False
    # What just changed may not have come the other way yet.
    if now - max(int(streams.changed[a]), int(streams.changed[b])) < NS:
        return None
    apart = np.abs(streams.levels[a].astype(np.int16) - streams.levels[b].astype(np.int16))
    return bool((apart <= numbers.fight_levels).all())


def _moves_alone(network: Network, before: int, a: int, b: int) -> bool:
    """Did one change several times since the other did, and that not just now?"""
    times, numbers = network.streams.prints.time[a], network.numbers
    since = int(network.streams.changed[b]) + int(numbers.same_light_within_s * NS)
    return int(np.count_nonzero((times > since) & (times < before))) >= numbers.same_light_frames


def differing(network: Network, a: int, b: int) -> int:
    """DMX channels that both drive above zero with levels further apart than rounding."""
    one, other = network.streams.levels[a].astype(np.int16), network.streams.levels[b].astype(np.int16)
    apart = np.abs(one - other) > network.numbers.fight_levels
    return int(np.count_nonzero(apart & (one > 0) & (other > 0)))
