"""When a sound is due. One a cause is the owner's rule; ten minutes are common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest

from netwatch.story.bell import Bell
from tests.handmade import alert, at, clean


def fight(id: int, severity: str = "now", **changes: Any) -> Any:
    return alert(id, "sources-fighting", severity, {"universe": 1}, **changes)


def test_once_for_what_stops_the_show() -> None:
    bell = Bell()
    assert not bell.rings(clean())
    assert bell.rings(clean(alerts=(fight(1),)))
    assert not bell.rings(clean(alerts=(fight(1),)))
    assert bell.rings(clean(alerts=(fight(1), fight(2))))


@pytest.mark.parametrize("quietly", [
    {"severity": "soon"}, {"over": 9}, {"accepted": {"why": ""}}, {"closed": at(9)}, {"quiet": at(9)}, {"about_laptop": True},
])  # fmt: skip
def test_not_for_what_does_not(quietly: dict[str, Any]) -> None:
    assert not Bell().rings(clean(alerts=(fight(1, **quietly),)))


def test_when_it_gets_so_bad() -> None:
    bell = Bell()
    assert not bell.rings(clean(alerts=(fight(1, "quality"),)))
    assert bell.rings(clean(alerts=(fight(1),)))


def test_not_again_for_the_cause_of_what_was_rung_for() -> None:
    bell = Bell()
    assert bell.rings(clean(alerts=(fight(1), fight(2))))
    assert not bell.rings(clean(alerts=(fight(1, over=3), fight(2, over=3), fight(3, under=(1, 2)))))
    assert not bell.rings(clean(alerts=(fight(1), fight(2), fight(3, closed=at(50)))))


def test_not_again_for_what_is_back_soon_but_later() -> None:
    bell = Bell()
    before = fight(1, closed=at(20))
    assert bell.rings(clean(alerts=(fight(1),)))
    assert not bell.rings(clean(now=at(700), alerts=(before, fight(2, again=1, opened=at(600)))))
    assert bell.rings(clean(now=at(700), alerts=(before, fight(3, again=1, opened=at(621)))))


def test_not_before_what_explains_it_may_be_seen() -> None:
    """A pulled cable is known a moment after the silence that it brings."""
    bell, young = Bell(), fight(1, opened=at(59.5))
    assert not bell.rings(clean(now=at(60), alerts=(young,)))
    assert not bell.rings(clean(now=at(61), alerts=(fight(1, opened=at(59.5), over=2),)))
    assert bell.rings(clean(now=at(61), alerts=(young,)))
