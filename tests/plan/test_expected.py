"""What a rig is meant to be. The record is the project's own; no outside source."""

from __future__ import annotations

import pytest

from netwatch.plan.expected import Expected, ExpectedDevice


def test_empty_plan_wants_nothing():
    empty = Expected()
    assert not empty.dhcp
    assert empty.by_mac("02:00:00:00:00:01") is None
    assert not empty.in_pool("10.0.0.1")


def test_pool_and_devices():
    orchard = ExpectedDevice(name="orchard", mac="02:00:00:00:00:23", address="10.0.0.23")
    plan = Expected(devices=(ExpectedDevice(name="no mac"), orchard), pools=(("10.0.0.100", "10.0.0.199"),))
    assert plan.dhcp
    assert plan.by_mac("02:00:00:00:00:23") is orchard
    assert plan.by_mac("") is None
    assert [plan.in_pool(f"10.0.0.{last}") for last in (99, 100, 199, 200)] == [False, True, True, False]


@pytest.mark.parametrize(
    "wrong", [{"networks": ("10.0.0.5/24",)}, {"networks": ("x",)}, {"servers": ("10.0.0",)}, {"pools": (("10.0.0.1", ""),)}]
)
def test_what_can_not_be_read_is_refused(wrong):
    with pytest.raises(ValueError, match=r"\w"):
        Expected(**wrong)
