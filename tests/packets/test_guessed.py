"""Chains of records from guesses: all that join are found, and nothing rests on a guess that was wrong."""

from __future__ import annotations

import random
from itertools import pairwise
from struct import pack

import numpy as np

from netwatch.packets.batch import I64, TAIL
from netwatch.packets.guessed import NEVER, Guessed

KEY = b"lamp"


def made(records: list[bytes]) -> tuple[Guessed, list[int]]:
    """Guesses in a block of them, key and length before each; where each begins, and the end of the last one."""
    whole = [KEY + pack("<I", len(record)) + record for record in records]
    block = np.frombuffer(b"".join(whole) + bytes(TAIL), np.uint8)
    length = np.ndarray(len(block) - 7, "<u4", block, 4, (1,))

    def behind(at: I64) -> I64:
        after: I64 = length[at] + at
        return after + 8

    starts = np.cumsum([0, *map(len, whole)]).tolist()
    return Guessed(block, 0, starts[-1], 8, KEY, 0, behind), starts


def test_records_of_any_length_are_one_stretch() -> None:
    dice = random.Random(3)
    guessed, starts = made([bytes(dice.randrange(1_500)) for _ in range(8_000)])
    found, pos, again = guessed.stretch(0)
    assert (found.tolist(), pos, again) == (starts[:-1], starts[-1], NEVER)
    found, pos, again = guessed.stretch(starts[70])
    assert (found.tolist(), pos, again) == (starts[70:-1], starts[-1], NEVER)
    found, pos, again = guessed.stretch(starts[70] + 1)
    assert (found.tolist(), pos) == ([], starts[70] + 1)
    assert starts[70] < again < starts[200]


def test_what_looks_like_a_record_within_another_is_none() -> None:
    dice = random.Random(4)
    inner = (KEY + pack("<I", 12) + bytes(12)) * 70
    guessed, starts = made([inner if dice.random() < 0.2 else bytes(dice.randrange(100)) for _ in range(8_000)])
    found, after, pos, again = [], dict(pairwise(starts)), 0, 0
    while pos < starts[-1]:
        if pos >= again:
            joined, pos, again = guessed.stretch(pos)
            found += joined.tolist()
        else:  # as a reader does: one by one
            found.append(pos)
            pos = after[pos]
    assert found == starts[:-1]
