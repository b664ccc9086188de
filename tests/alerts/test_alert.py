"""Which packet numbers an alert keeps. Eight is our own choice; there is no published source."""

from __future__ import annotations

import pytest

from netwatch.alerts.alert import evidence


@pytest.mark.parametrize(
    ("first", "opening", "newest", "kept"),
    [
        ((), (), (), ()),
        ((3, 1), (5, 4), (5, 3), (1, 3, 4, 5)),
        ((1, 2), (1, 2, 10, 11, 12), (1, 2, 20, 21, 22), (1, 2, 10, 11, 12, 20, 21, 22)),
        ((1, 2, 3), range(10, 20), range(30, 40), (1, 2, 17, 18, 19, 37, 38, 39)),
        ((7,), (7, 7), (7,), (7,)),
    ],
)
def test_evidence(first: tuple[int, ...], opening: tuple[int, ...], newest: tuple[int, ...], kept: tuple[int, ...]) -> None:
    assert evidence(tuple(first), tuple(opening), tuple(newest)) == kept
