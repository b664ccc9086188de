"""All rules, in order of their codes."""

from __future__ import annotations

from netwatch.alerts.addresses import ADDRESS_RULES
from netwatch.alerts.carriage import CARRIAGE_RULES
from netwatch.alerts.light import STREAM_RULES
from netwatch.alerts.rule import Rule

TABLE_RULES = tuple(sorted((*ADDRESS_RULES, *CARRIAGE_RULES), key=lambda each: each.rule.code))
"""Rules over the slow tables."""
RULES: dict[str, Rule] = {
    each.rule.code: each.rule for each in sorted((*TABLE_RULES, *STREAM_RULES), key=lambda each: each.rule.code)
}
"""Every declaration by code."""

__all__ = ["RULES", "STREAM_RULES", "TABLE_RULES"]
