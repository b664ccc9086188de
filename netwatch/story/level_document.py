"""Who wins, and the level history, in the JSON document."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from .light_views import LevelMoment, LevelSource, LevelsView, WinnerView

if TYPE_CHECKING:
    from netwatch.network.history import Change


def winner(view: WinnerView) -> dict[str, Any]:
    """Sources as in the list of streams; ``channels`` is empty where one answer holds for the whole universe."""
    return {
        "protocol": view.protocol,
        "universe": view.universe,
        "rule": view.rule,
        "source": view.source,
        "tied": list(view.tied),
        "left_out": [{"source": source, "why": why} for source, why in view.left_out],
        "channels": [
            {"first": run.first, "last": run.last, "rule": run.rule, "source": run.source, "tied": list(run.tied)}
            for run in view.channels
        ],
        "interface": view.interface,
        "vlan": view.vlan,
    }


def levels(view: LevelsView) -> dict[str, Any]:
    """Sources are named by their place in the list of sources; levels are hexadecimal, two digits a DMX channel."""
    return {
        "protocol": view.protocol,
        "universe": view.universe,
        "first_channel": view.first,
        "last_channel": view.last,
        "sources": [_source(source) for source in view.sources],
        "changes": [_change(change, view) for change in view.changes],
        "moments": [_moment(moment) for moment in view.moments],
        "older_changes_forgotten": view.forgotten,
        "frames_of_more_sources": view.refused,
    }


def _source(source: LevelSource) -> dict[str, Any]:
    return {
        "source": source.source,
        "name": source.name,
        "address": source.address,
        "to": source.to,
        "destination": source.destination,
        "priority": source.priority,
        "frames": source.frames,
        "late": source.late,
        "cut": source.cut,
        "first": _seconds(source.first),
        "last": _seconds(source.last),
        "silent": source.silent,
        "ended": source.ended,
        "preview": source.preview,
        "interface": source.interface,
        "vlan": source.vlan,
    }


def _change(change: Change, view: LevelsView) -> dict[str, Any]:
    return {
        "at": _seconds(change.at),
        "packet": change.n,
        "source": change.source,
        "levels": change.levels.hex(),
        "channels_sent": change.slots,
        "priority": change.priority if view.protocol == "e131" else None,
        "options": change.options,
        "frame": change.frame,
        "begins": change.begins,
        "ends": change.ends,
    }


def _moment(moment: LevelMoment) -> dict[str, Any]:
    return {
        "what": moment.what,
        "at": _seconds(moment.at),
        "until": _seconds(moment.until),
        "packet": moment.n,
        "sources": list(moment.sources),
        "channels": list(moment.channels),
        "times": moment.times,
        "level": moment.level,
        "stood": moment.stood,
    }


def _seconds(ns: int) -> float:
    return (ns + 500) // 1000 / 1_000_000
