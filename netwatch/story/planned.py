"""The plan against the rig, as the snapshot shows it; and where the boxes of an alert stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from netwatch.plan.compare import compare, plain_name
from netwatch.plan.standing import DIFFERS, MISSING, Difference, Standing
from netwatch.plan.universes import Light
from netwatch.story.plan_view import PlanView
from netwatch.story.snapshot import AlertView, Check
from netwatch.words import plan_compare as words

if TYPE_CHECKING:
    from netwatch.story.play import Player

_MOST_PLACES = 4


def view(player: Player) -> PlanView | None:
    """None without a plan."""
    if player.plan is None:
        return None
    found = compare(player.plan, player.network, player.clock.now or 0)
    return PlanView(player.plan.name, found, player.plan.remarks)


def check(name: str, plan: PlanView | None) -> Check:
    """The check 'as planned'."""
    if plan is None:
        return Check(name, "NOT USED HERE", words.NO_PLAN)
    counts = plan.counts
    state = "WRONG" if counts[DIFFERS] else "NOT YET" if counts[MISSING] else "FINE"
    return Check(name, state, words.tally(counts))


# ---- alerts ----


def with_places(alerts: Iterable[AlertView], plan: PlanView | None) -> tuple[AlertView, ...]:
    """Each alert with where the boxes that it names stand, by the plan."""
    if plan is None:
        return tuple(alerts)
    known: dict[str, Standing] = {}
    for each in plan.standings:
        if each.place or each.asset:
            for word in (each.name, *each.names, each.mac, *each.addresses):
                known.setdefault(_key(word), each)
    return tuple(replace(alert, places=_places(alert, known)) for alert in alerts)


def _places(alert: AlertView, known: Mapping[str, Standing]) -> tuple[str, ...]:
    subject = alert.subject.partition(":")[2]
    found = dict.fromkeys(known[key] for word in (subject, *_texts(alert.facts.values())) if (key := _key(word)) in known)
    return tuple(words.stands(each.name, each.place, each.asset) for each in list(found)[:_MOST_PLACES])


def _texts(values: Iterable[Any]) -> Iterable[str]:
    for value in values:
        if isinstance(value, str):
            yield value
        elif isinstance(value, list | tuple):
            yield from _texts(value)


def _key(word: str) -> str:
    """Addresses and MACs as they are, names without their signs."""
    return word if set(word) <= set("0123456789abcdef.:") else plain_name(word)


# ---- JSON ----


def document(plan: PlanView, seconds: Any) -> dict[str, Any]:
    """As plain values; ``seconds`` turns ns into seconds."""
    return {
        "name": plan.name,
        **plan.counts,
        "devices": [_device(each, seconds) for each in plan.standings],
        "not_understood": list(plan.remarks),
    }


def _device(each: Standing, seconds: Any) -> dict[str, Any]:
    return {
        "state": each.state,
        "name": each.name,
        "place": each.place,
        "asset": each.asset,
        "by": each.by or None,
        "mac": each.mac,
        "addresses": list(each.addresses),
        "names": list(each.names),
        "maker": each.maker,
        "last": seconds(each.last),
        "differences": [_difference(found) for found in each.differences],
    }


def _difference(found: Difference) -> dict[str, Any]:
    return {
        "what": found.what,
        "planned": _plain(found.planned),
        "heard": _plain(found.heard),
        "extra": _plain(found.extra),
        "lacking": _plain(found.lacking),
        "step": found.step,
        "text": words.difference(found),
    }


def _plain(values: Sequence[Any]) -> list[Any]:
    return [{"protocol": each.protocol, "universe": each.number} if isinstance(each, Light) else each for each in values]
