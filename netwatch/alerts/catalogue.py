"""All rules, in order of their codes."""

from __future__ import annotations

from hashlib import sha256
from typing import Protocol

from netwatch.alerts.addresses import ADDRESS_RULES
from netwatch.alerts.artnet import ARTNET_RULES
from netwatch.alerts.artnet_light import ARTNET_LIGHT_RULES
from netwatch.alerts.artnet_numbers import NUMBER_RULES
from netwatch.alerts.both import BOTH_RULES
from netwatch.alerts.carriage import CARRIAGE_RULES
from netwatch.alerts.clashes import CLASH_RULES
from netwatch.alerts.contents import CONTENT_RULES
from netwatch.alerts.flapping import FLAPPING_RULES
from netwatch.alerts.flooding import FLOODING_RULES
from netwatch.alerts.identity import IDENTITY_RULES
from netwatch.alerts.jitter import JITTER_RULES
from netwatch.alerts.laptop import LAPTOP_RULES
from netwatch.alerts.leasing import LEASE_RULES
from netwatch.alerts.left import LEFT_RULES
from netwatch.alerts.light import SILENCE_RULES, Marked
from netwatch.alerts.links import LINK_RULES
from netwatch.alerts.look import TableRule
from netwatch.alerts.loops import LOOP_RULES
from netwatch.alerts.mask_votes import MASK_RULES
from netwatch.alerts.order import ORDER_RULES
from netwatch.alerts.own_address import OWN_ADDRESS_RULES
from netwatch.alerts.own_joins import OWN_RULES
from netwatch.alerts.queriers import QUERIER_RULES
from netwatch.alerts.rates import RATE_RULES
from netwatch.alerts.receivers import RECEIVER_RULES
from netwatch.alerts.rule import Finding, Rule
from netwatch.alerts.scene import Mask, Scene
from netwatch.alerts.servers import SERVER_RULES
from netwatch.alerts.sources import SOURCE_RULES
from netwatch.alerts.subnets import SUBNET_RULES
from netwatch.alerts.switched_off import SWITCHED_OFF_RULES
from netwatch.alerts.wifi import WIFI_RULES
from netwatch.numbers import DEFAULTS


class StreamRule(Protocol):
    """A rule over streams: a mask over all ticks of a stretch, and the findings of one of them."""

    rule: Rule

    def mask(self, scene: Scene) -> Mask: ...

    def findings(self, scene: Scene, at: Marked) -> list[Finding]: ...


_TABLE_RULES: tuple[TableRule, ...] = (
    *ADDRESS_RULES,
    *ARTNET_LIGHT_RULES,
    *ARTNET_RULES,
    *BOTH_RULES,
    *CARRIAGE_RULES,
    *CLASH_RULES,
    *CONTENT_RULES,
    *FLAPPING_RULES,
    *FLOODING_RULES,
    *IDENTITY_RULES,
    *JITTER_RULES,
    *LAPTOP_RULES,
    *LEASE_RULES,
    *LEFT_RULES,
    *LINK_RULES,
    *LOOP_RULES,
    *MASK_RULES,
    *NUMBER_RULES,
    *ORDER_RULES,
    *OWN_ADDRESS_RULES,
    *OWN_RULES,
    *QUERIER_RULES,
    *RATE_RULES,
    *RECEIVER_RULES,
    *SERVER_RULES,
    *SUBNET_RULES,
    *SWITCHED_OFF_RULES,
    *WIFI_RULES,
)
TABLE_RULES: tuple[TableRule, ...] = tuple(sorted(_TABLE_RULES, key=lambda each: each.rule.code))
"""Rules over the slow tables."""
STREAM_RULES: tuple[StreamRule, ...] = tuple(sorted((*SILENCE_RULES, *SOURCE_RULES), key=lambda each: each.rule.code))
"""Rules over streams."""
_ALL: tuple[TableRule | StreamRule, ...] = (*TABLE_RULES, *STREAM_RULES)
RULES: dict[str, Rule] = {each.rule.code: each.rule for each in sorted(_ALL, key=lambda each: each.rule.code)}
"""Every declaration by code."""



def digest() -> str:
    """Tells one set of rules and numbers from another: '51 of a3f2c19e'."""
    told = [
        (each.code, each.after, each.until, sorted(each.certainty.items()), each.explains,
         [(name, getattr(DEFAULTS, name)) for name in each.numbers])
        for each in RULES.values()
    ]
    return f"{len(RULES)} of {sha256(repr(told).encode()).hexdigest()[:8]}"


__all__ = ["RULES", "STREAM_RULES", "TABLE_RULES", "digest"]
