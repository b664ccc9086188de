"""Verdicts on sequence numbers: E1.31-2018 6.7.2, worked by hand; Art-Net 4 (1.4di) p.60."""

from __future__ import annotations

import pytest

from netwatch.network.sequence import accept


@pytest.mark.parametrize(
    ("last", "value", "accepted", "lost", "verdict"),
    [
        (10, 11, 11, 0, "next"),
        (10, 14, 14, 3, "lost"),
        (10, 10, 10, 0, "repeated"),
        (10, 9, 10, -1, "late"),
        (10, 247, 10, -1, "late"),  # -19
        (10, 246, 246, 0, "jump"),  # -20
        (10, 138, 138, 0, "jump"),  # -128
        (10, 137, 137, 126, "lost"),  # 127
        (255, 0, 0, 0, "next"),
        (0, 255, 0, -1, "late"),
        (5, 250, 5, -1, "late"),
        (1, 254, 1, -1, "late"),
        (0, 237, 0, -1, "late"),
        (0, 236, 236, 0, "jump"),
        (-1, 77, 77, 0, "first"),
    ],
)
def test_e131(last: int, value: int, accepted: int, lost: int, verdict: str) -> None:
    assert accept(last, value, artnet=False) == (accepted, lost, verdict)


def test_twenty_of_256_differences_are_rejected() -> None:
    """6.7.2: -20 < B - A <= 0."""
    verdicts = [accept(10, value, artnet=False)[2] for value in range(256)]
    assert verdicts.count("late") + verdicts.count("repeated") == 20


@pytest.mark.parametrize(
    ("last", "value", "accepted", "lost", "verdict"),
    [
        (254, 255, 255, 0, "next"),
        (255, 1, 1, 0, "next"),  # 0 is left out
        (255, 3, 3, 2, "lost"),
        (1, 255, 1, -1, "late"),
        (7, 7, 7, 0, "repeated"),
        (7, 0, 0, 0, "uncounted"),
        (0, 9, 9, 0, "uncounted"),
        (0, 0, 0, 0, "uncounted"),
    ],
)
def test_artnet(last: int, value: int, accepted: int, lost: int, verdict: str) -> None:
    assert accept(last, value, artnet=True) == (accepted, lost, verdict)
