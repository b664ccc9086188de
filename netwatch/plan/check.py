"""Finds contradictions in a plan before a cable is pulled."""

from __future__ import annotations

from netwatch.numbers import Numbers
from netwatch.plan import check_addresses, check_light
from netwatch.plan.problem import Problem
from netwatch.plan.rig import Plan

_RANK = ("soon", "tidy", "note")


def problems(plan: Plan, numbers: Numbers) -> list[Problem]:
    """Worst first, else in the order of the plan."""
    found = [*check_addresses.problems(plan, numbers), *check_light.problems(plan, numbers)]
    return sorted(found, key=lambda each: _RANK.index(each.severity))
