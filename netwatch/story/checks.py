"""The eleven checks, in the order in which one falsifies the next. Silence must not look like health."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from netwatch.alerts.scene import NS
from netwatch.network.switching import prunes
from netwatch.story import planned
from netwatch.story.plan_view import PlanView
from netwatch.story.snapshot import AlertView, Check, StreamView
from netwatch.words.checks import CHECKS, Sentence

if TYPE_CHECKING:
    from netwatch.story.play import Player

BEHIND = {
    "trusted": (
        "capture-dropping", "nothing-heard-here", "two-interfaces-one-network", "firewall-in-the-way", "tunnel-in-the-way",
        "laptop-address", "wifi-isolated", "wifi-roamed",
    ),
    "heard": ("nothing-heard-here", "trunk-port", "spanning-tree-wait"),
    "one-server": (
        "two-dhcp-servers", "no-dhcp-answer", "dhcp-pool-used-up", "dhcp-offer-wrong", "lease-server-silent",
    ),
    "no-address-twice": ("duplicate-address", "address-declined", "fixed-address-in-pool", "address-moved"),
    "one-network": ("link-local-address", "wrong-subnet", "wrong-mask", "invalid-address"),
    "light-arrives": (
        "universe-silent", "source-lost", "preview-only", "universe-out-of-range", "wrong-multicast-group", "sync-lost",
        "malformed-frames", "rate-too-low", "backup-took-over", "controller-left", "link-flapping",
        "artnet-off-by-one", "artnet-number-mixed-up", "poll-unanswered", "reply-address-wrong", "artnet-sync-trouble",
    ),
    "one-sender": (
        "sources-fighting", "universe-shared", "cid-cloned", "slot-priority-mixed", "controllers-merging",
        "both-protocols-one-universe",
    ),
    "multicast-holds": (
        "multicast-dropped", "querier-lost", "no-querier", "two-queriers", "deaf-receiver", "fast-leave", "own-join-darkened",
    ),
    "nothing-lost": ("packets-lost", "packets-out-of-order", "packets-repeated", "jitter", "wifi-clumping"),
    "nothing-floods": ("artnet-broadcast-load", "rate-too-high", "multicast-flooded", "loop", "storm", "bottleneck"),
}
"""Codes whose alerts at quality or worse make a check WRONG."""
PLANNED = "planned"
"""The last of them, which no alert speaks for."""
_WRONG = ("now", "soon", "quality")
_WARM_UP = 60 * NS


def checks(
    player: Player, alerts: Sequence[AlertView], streams: Sequence[StreamView], plan: PlanView | None
) -> tuple[Check, ...]:
    """Name, state, why, for each of the eleven."""
    found = [_check(key, player, alerts, streams) for key in CHECKS if key != PLANNED]
    return (*found, planned.check(CHECKS[PLANNED][0], plan))


def _check(key: str, player: Player, alerts: Sequence[AlertView], streams: Sequence[StreamView]) -> Check:
    name, sentences = CHECKS[key]
    for alert in sorted(alerts, key=lambda each: ("now", "soon", "quality", "tidy", "note").index(each.severity)):
        open_now = alert.closed is None and alert.over is None
        if open_now and alert.code in BEHIND.get(key, ()) and alert.severity in _WRONG:
            return Check(name, "WRONG", alert.title, alert.id)
    state, why = _quiet(key, player, streams)
    return Check(name, state, _say(sentences, state, why, player))


def _say(sentences: dict[str, Sentence], state: str, why: str, player: Player) -> str:
    sentence = sentences[why or state]
    return sentence(player) if callable(sentence) else sentence


def _quiet(key: str, player: Player, streams: Sequence[StreamView]) -> tuple[str, str]:
    """State and sentence of a check that no alert speaks against."""
    network = player.network
    heard_for = 0 if network.first is None or player.clock.now is None else player.clock.now - network.first
    vantages = {state.vantage for state in network.vantage.ports.values()} or {"unknown"}
    young = heard_for < _WARM_UP
    if key == "trusted":
        return ("FINE", "") if network.packets else ("NOT YET", "")
    if vantages == {"limited"} and key in ("one-server", "no-address-twice", "one-network", "multicast-holds"):
        return "NOT FROM HERE", "limited"
    if key == "heard":
        return ("FINE", "") if len(network.claims.boxes) or streams else ("NOT YET", "")
    if key == "one-server":
        if not len(network.leases.servers):
            return "NOT YET", ""
        return ("FINE", "") if vantages == {"mirror"} else ("FINE", "named")
    if key in ("no-address-twice", "one-network"):
        return ("NOT YET", "") if young or not network.claims.table.held else ("FINE", "")
    if not streams:
        return "NOT YET", "no light"
    if key == "light-arrives":
        return ("NOT YET", "none now") if all(each.silent or each.ended for each in streams) else ("FINE", "")
    if key == "multicast-holds":
        if not any(each.destination == "group" for each in streams):
            return "NOT USED HERE", ""
        if any(prunes(network, segment) is False for segment in network.multicast.floods):
            return "FINE", "floods"
        if network.multicast.last_query:
            return "FINE", ""
        return "NOT YET", ""
    if key in ("nothing-lost", "nothing-floods"):
        return ("FINE", "") if network.streams.buckets.full else ("NOT YET", "")
    return "FINE", ""
