"""Rates side by side: what is compared takes turns, and the best of each counts. CPU time, so that other work tells less."""

from __future__ import annotations

import time
from collections.abc import Callable

ROUNDS = 5


def best(*works: Callable[[], int], rounds: int = ROUNDS) -> list[float]:
    """Packets a CPU second of each, best of ``rounds``; each gives the packets that it handled."""
    rates = [0.0] * len(works)
    for _ in range(rounds):
        for at, work in enumerate(works):
            begin = time.process_time()
            packets = work()
            rates[at] = max(rates[at], packets / (time.process_time() - begin))
    return rates


def quickest(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Wall seconds, the least of ``rounds``."""
    took = []
    for _ in range(rounds):
        begin = time.perf_counter()
        work()
        took.append(time.perf_counter() - begin)
    return min(took)
