"""Rules over streams: who may send a universe, and who does. S1 sharing, S2 backups, S4 preview, S6 numbers, S7 groups."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from netwatch.alerts.light import Marked
from netwatch.alerts.rivals import by_source, by_universe, rivals, shared_universes
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import Mask, Scene
from netwatch.decode.tables import E131, MULTICAST

I64 = npt.NDArray[np.int64]

_EVERYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"}
_UNIVERSES = 63_999
"""E1.31-2018 6.2.7."""
_GROUPS, _OF_GROUP = 0xEFFF0000, 0xF0000000
"""239.255.0.0 (E1.31-2018 table 9-10); the four bits that tell a group."""


def _universes(scene: Scene, flows: list[int]) -> list[int]:
    return sorted({int(scene.network.streams.universe[flow]) for flow in flows})


def _numbers(scene: Scene, k: int, flows: list[int]) -> tuple[int, ...]:
    return _newest(flows, scene.figures.numbers(k, flows))


def _newest(flows: list[int], numbers: dict[int, int]) -> tuple[int, ...]:
    return tuple(sorted({numbers[flow] for flow in flows})[-3:])


class SourcesFighting:
    """S1: two sources, both with the highest priority, disagree on DMX channels that both drive."""

    rule = Rule(
        "sources-fighting",
        after_number="fight_after_s",
        certainty=_EVERYWHERE,
        explains=("universe-shared",),
        numbers=("fight_after_s", "fight_levels", "tracking_lag_s"),
    )

    def mask(self, scene: Scene) -> Mask:
        return rivals(scene).fighting

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        pairs, newest = rivals(scene).at(scene, at.k), scene.figures.numbers(at.k, at.flows)
        return [self._finding(scene, at, flows, pairs, newest) for flows in by_universe(scene, at.flows)]

    def _finding(
        self, scene: Scene, at: Marked, flows: list[int], pairs: dict[int, list[tuple[int, int, int]]], newest: dict[int, int]
    ) -> Finding:
        one, other, channels = max((pair for flow in flows for pair in pairs.get(flow, ())), key=lambda pair: pair[2])
        streams, universe = scene.network.streams, int(scene.network.streams.universe[flows[0]])
        a, b, names = scene.who(one), scene.who(other), list(dict.fromkeys(map(scene.who, flows)))
        slotwise = any(flow in streams.slotwise.flows for flow in flows)
        return Finding(
            int(streams.segment[flows[0]]), f"universe:{universe}", "now", "certain", min(at.since[flows].tolist()),
            {"universe": universe, "protocol": "e131", "a": a, "b": b, "channels": channels,
             "priority": None if slotwise else int(scene.figures.priority[at.k, one]),
             "also": [each for each in names if each not in (a, b)], "covers": [f"universe:{universe}"]},
            _newest(flows, newest),
        )  # fmt: skip


class UniverseShared:
    """S1: several sources send one universe with the highest priority. A note; many receivers refuse more than two."""

    rule = Rule(
        "universe-shared",
        after_number="fight_after_s",
        certainty=_EVERYWHERE,
        numbers=("fight_after_s", "fight_levels", "tracking_lag_s", "shared_many"),
    )

    def mask(self, scene: Scene) -> Mask:
        return rivals(scene).sharing

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        newest = scene.figures.numbers(at.k, at.flows)
        return [self._finding(scene, at, flows, newest) for flows in by_universe(scene, at.flows)]

    def _finding(self, scene: Scene, at: Marked, flows: list[int], newest: dict[int, int]) -> Finding:
        streams, universe = scene.network.streams, int(scene.network.streams.universe[flows[0]])
        sources = len(set(streams.stream[flows].tolist()))
        many = sources >= scene.network.numbers.shared_many
        return Finding(
            int(streams.segment[flows[0]]), f"universe:{universe}",
            "quality" if many else "note", "likely" if many else "certain", min(at.since[flows].tolist()),
            {"universe": universe, "protocol": "e131", "also": list(dict.fromkeys(map(scene.who, flows))),
             "sources": sources, "priority": int(scene.figures.priority[at.k, flows[0]])},
            _newest(flows, newest),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Backup:
    """A source on a universe, and the one whose place it may take."""

    backup: int
    main: int
    """Flows."""
    sure: bool
    """The main one had the higher priority, rather than being gone when the backup began."""
    all: list[int]
    """Flows of the universe."""


class BackupTookOver:
    """S2: the main source of a universe went away, and another that waited below it goes on. Running without net."""

    rule = Rule(
        "backup-took-over",
        certainty=_EVERYWHERE,
        numbers=("standby_s", "took_over_stands_s", "flapping_within_s", "flapping_least"),
        note_in_building=True,
    )

    def mask(self, scene: Scene) -> Mask:
        pairs = self._pairs(scene)
        out = np.zeros(scene.live.shape, bool) if pairs else scene.nothing
        for pair in pairs:
            out[:, pair.backup] |= self._holds(scene, pair)
        return out

    def _gone(self, scene: Scene) -> Mask:
        """[ticks, flows] would be heard if it were sent, and is not; not for too long."""
        numbers = scene.network.numbers
        silent = scene.silent & (scene.age < numbers.took_over_stands_s * NS)
        if silent.any():
            silent &= scene.heard
        return silent | (scene.settled & scene.ended & (scene.age < numbers.standby_s * NS))

    def _pairs(self, scene: Scene) -> list[_Backup]:
        """Who may have taken the place of whom in this stretch."""
        if "backups" not in scene.memo:
            pairs: list[_Backup] = []
            several = shared_universes(scene)
            gone = set(np.flatnonzero(self._gone(scene).any(axis=0)).tolist()) if several else set()
            for flows in several:
                for main in gone.intersection(flows):
                    others = [flow for flow in flows if self._two_boxes(scene, main, flow)]
                    pairs += [_Backup(backup, main, sure, flows) for backup in others for sure in (True, False)]
            scene.memo["backups"] = sorted(pairs, key=lambda pair: (pair.backup, pair.main, not pair.sure))
        return scene.memo["backups"]  # type: ignore[no-any-return]

    def _two_boxes(self, scene: Scene, one: int, other: int) -> bool:
        """A program that restarts may come back as a new source (E1.31-2018 5.6) in the same box."""
        streams = scene.network.streams
        same = streams.mac[one] == streams.mac[other] and (streams.mac[one] != 0 or streams.src[one] == streams.src[other])
        return not same and bool(streams.stream[one] != streams.stream[other])

    def _holds(self, scene: Scene, pair: _Backup) -> npt.NDArray[np.bool_]:
        """[ticks]."""
        figures, streams, backup, main = scene.figures, scene.network.streams, pair.backup, pair.main
        gone: npt.NDArray[np.bool_] = self._gone(scene)[:, main] & scene.live[:, backup] & scene.settled[backup]
        gone &= figures.priority[:, backup] >= np.where(scene.live[:, pair.all], figures.priority[:, pair.all], 0).max(axis=1)
        last = figures.last[:, main]
        if pair.sure:
            gone &= (figures.priority[:, main] > figures.priority[:, backup]) & (streams.first[backup] < last)
        else:
            gone &= (streams.first[backup] >= last) & (streams.first[backup] - last < scene.network.numbers.standby_s * NS)
        return gone

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        mains: dict[int, _Backup] = {}
        for pair in self._pairs(scene):
            if pair.backup in at.flows and self._holds(scene, pair)[at.k]:
                mains.setdefault(pair.backup, pair)
        return [self._finding(scene, at, [mains[flow] for flow in flows]) for flows in by_source(scene, list(mains))]

    def _finding(self, scene: Scene, at: Marked, pairs: list[_Backup]) -> Finding:
        network, figures, first = scene.network, scene.figures, pairs[0]
        flows, now = [pair.backup for pair in pairs], int(figures.now[at.k])
        ended = all(scene.ended[at.k, pair.main] for pair in pairs)
        within = now - int(network.numbers.flapping_within_s * NS)
        returns = max(sum(when > within for when in network.streams.comebacks.get(pair.main, [])) for pair in pairs)
        changes = 2 * returns + 1
        flapping = changes >= network.numbers.flapping_least
        return Finding(
            int(network.streams.segment[flows[0]]), scene.source(flows[0]), "note" if ended else "now" if flapping else "soon",
            "certain" if first.sure else "likely", min(int(figures.last[at.k, pair.main]) for pair in pairs),
            {"who": scene.who(first.main), "backup": scene.who(first.backup), "universes": _universes(scene, flows),
             "protocol": "e131", "ended": ended, "changes": changes,
             "priority": int(figures.priority[at.k, first.backup]), "main_priority": int(figures.priority[at.k, first.main])},
            _numbers(scene, at.k, [first.main, *flows]),
        )  # fmt: skip


class PreviewOnly:
    """S4: all that is sent of a universe is marked as preview, which never drives output (E1.31-2018 6.2.6)."""

    rule = Rule("preview-only", after_number="preview_after_s", certainty=_EVERYWHERE, numbers=("preview_after_s",))

    def mask(self, scene: Scene) -> Mask:
        if scene.plain:
            return scene.nothing
        preview: Mask = np.array(scene.active & ~scene.live & scene.settled)
        if not preview.any():
            return scene.nothing
        light = np.flatnonzero(scene.used & (scene.network.streams.protocol[: scene.flows] == E131)).tolist()
        for flows in by_universe(scene, light):
            preview[:, flows] &= ~np.any(scene.live[:, flows], axis=1, keepdims=True)
        return preview

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        return _unlit(scene, at)


def _unlit(scene: Scene, at: Marked) -> list[Finding]:
    """One finding a source whose universes light nothing, whoever receives them."""
    return [
        Finding(
            int(scene.network.streams.segment[flows[0]]),
            scene.source(flows[0]),
            "now",
            "certain",
            int(at.since[flows].min()),
            {"who": scene.who(flows[0]), "universes": _universes(scene, flows), "protocol": "e131"},
            _numbers(scene, at.k, flows),
        )
        for flows in by_source(scene, at.flows)
    ]


class UniverseOutOfRange:
    """S6: light for a universe that does not exist (E1.31-2018 6.2.7)."""

    rule = Rule("universe-out-of-range", certainty=_EVERYWHERE)

    def mask(self, scene: Scene) -> Mask:
        wrong = scene.standing("out of range", partial(self._wrong, scene))
        return scene.nothing if wrong is None else scene.active & wrong

    @staticmethod
    def _wrong(scene: Scene) -> Mask:
        """[flows]."""
        streams, universe = scene.network.streams, scene.network.streams.universe[: scene.flows]
        wrong: Mask = scene.settled & (streams.protocol[: scene.flows] == E131) & ((universe == 0) | (universe > _UNIVERSES))
        return wrong

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        return _unlit(scene, at)


class WrongMulticastGroup:
    """S7: light goes to another group than its universe's (E1.31-2018 9.3.1). Receivers never ask for that group."""

    rule = Rule("wrong-multicast-group", certainty=_EVERYWHERE)

    def mask(self, scene: Scene) -> Mask:
        wrong = scene.standing("wrong group", partial(self._wrong, scene))
        return scene.nothing if wrong is None else scene.active & wrong

    @staticmethod
    def _wrong(scene: Scene) -> Mask:
        """[flows]."""
        streams, flows = scene.network.streams, scene.flows
        universe, dst = streams.universe[:flows], streams.dst[:flows]
        grouped = (dst & _OF_GROUP == 0xE0000000) | (streams.cast[:flows] == MULTICAST) & (dst == 0)
        wrong = grouped & (dst != _GROUPS + universe) & (universe > 0) & (universe <= _UNIVERSES)
        out: Mask = scene.settled & wrong & (streams.protocol[:flows] == E131)
        return out

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        return [self._finding(scene, at, flows) for flows in by_source(scene, at.flows)]

    def _finding(self, scene: Scene, at: Marked, flows: list[int]) -> Finding:
        streams, first = scene.network.streams, flows[0]
        swapped = all(int(streams.dst[flow]) == _GROUPS + _swapped(int(streams.universe[flow])) for flow in flows)
        one = len({int(streams.dst[flow]) for flow in flows}) == 1 < len(flows)
        return Finding(
            int(streams.segment[first]), scene.source(first), "now", "certain", int(at.since[flows].min()),
            {"who": scene.who(first), "universes": _universes(scene, flows), "protocol": "e131", "group": scene.group_of(first),
             "right": _group(int(streams.universe[first])), "how": "swapped" if swapped else "one" if one else None},
            _numbers(scene, at.k, flows),
        )  # fmt: skip


def _swapped(universe: int) -> int:
    return (universe & 255) << 8 | universe >> 8


def _group(universe: int) -> str:
    return f"239.255.{universe >> 8}.{universe & 255}"


SOURCE_RULES = (BackupTookOver(), PreviewOnly(), SourcesFighting(), UniverseOutOfRange(), UniverseShared(), WrongMulticastGroup())
