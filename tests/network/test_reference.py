"""The columns against a plain fold, packet by packet, written by the standards' rules and nothing else.

E1.31-2018 6.7.2: after accepting A a receiver discards B where -20 < B - A <= 0 in signed 8-bit arithmetic. 6.2.5: the number
rises with every packet of a universe, whatever its START code; some senders count START codes apart (field reports), so both
readings are kept. Art-Net 4 (1.4di) p.60: numbers go from 1 to 255 and round, 0 = not counted. A number that was there 80 ms ago
or less is a copy, whatever came between (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.decode.tables import ARTNET, E131
from tests.stories import frames
from tests.stories.boxes import DESK, POND
from tests.stories.playing import NS, START, Heard, cut_at, play

FLOWS = ((E131, 1, DESK), (E131, 2, DESK), (E131, 1, POND), (ARTNET, 1, DESK))
SILENCE = {E131: 2.5, ARTNET: 10.0}
"""Seconds: E1.31-2018 App. A; Art-Net 4 p.63."""
LOOKS = (bytes(8), bytes(range(8)), bytes(12))


@dataclass
class Plain:
    """One flow. ``accepted`` by counter: 'all' START codes on one, 0 and the others on two."""

    accepted: dict[object, int] = field(default_factory=dict)
    lost: dict[object, int] = field(default_factory=lambda: {"all": 0, "apart": 0})
    counts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(("late", "repeated", "jump", "changes", "packets"), 0))
    last: int | None = None
    look: bytes | None = None
    seen: dict[tuple[bool, int], int] = field(default_factory=dict)
    """ms of each number, START codes other than 0 apart."""

    def hear(self, protocol: int, time: int, number: int, code: int, look: bytes) -> None:
        if self.last is not None and time - self.last > SILENCE[protocol] * NS:
            self.accepted = {}
        self.last = time
        self.counts["packets"] += 1
        now, before = time // 1_000_000, self.seen.get((code > 0, number))
        self.seen[code > 0, number] = now
        if before is not None and now - before < 80 and not (protocol == ARTNET and number == 0):
            self.counts["repeated"] += 1
        else:
            self.judge(protocol, number, "all", "all")
            self.judge(protocol, number, code > 0, "apart")
        if code == 0:
            self.counts["changes"] += look != self.look
            self.look = look

    def judge(self, protocol: int, number: int, counter: object, reading: str) -> None:
        before = self.accepted.get(counter)
        if before is None or (protocol == ARTNET and 0 in (number, before)):
            self.accepted[counter] = number
            return
        difference = (number - before + 128) % 256 - 128
        if protocol == ARTNET:
            difference = (number - before + 127) % 255 - 127
        verdict = "repeated" if difference == 0 else "late" if -20 < difference < 0 else "jump" if difference < 0 else "next"
        if reading == "all" and verdict != "next":
            self.counts[verdict] += 1
        if verdict in ("next", "jump"):
            self.accepted[counter] = number
        change = {"next": difference - 1, "late": -1}.get(verdict, 0)
        self.lost[reading] = max(0, self.lost[reading] + change)


Packet = tuple[int, int, int, float, int]
"""(place in FLOWS, step of the number, START code, seconds since the packet before, place in LOOKS)"""
EDGES = st.sampled_from((-21, -20, -19, -18, 126, 127, 128, 129))
STEPS = st.one_of(st.just(1), st.integers(-3, 5), EDGES, st.integers(-128, 127))
PACKETS = st.lists(
    st.tuples(
        st.integers(0, len(FLOWS) - 1), STEPS, st.sampled_from((0, 0, 0, 0xDD)),
        st.sampled_from((0.0, 0.02, 0.02, 0.3, 3.0, 11.0)), st.integers(0, len(LOOKS) - 1),
    ),
    min_size=1, max_size=80,
)  # fmt: skip


def heard(packets: Iterable[Packet]) -> tuple[list[Heard], dict[int, Plain]]:
    """The frames, and what the plain fold makes of the same packets."""
    plain = {place: Plain() for place in range(len(FLOWS))}
    numbers = dict.fromkeys(plain, 7)
    time, out = START, []
    for place, step, code, pause, look in packets:
        protocol, universe, sender = FLOWS[place]
        numbers[place] = (numbers[place] + step) % 256
        time += round(pause * NS)
        if protocol == E131:
            frame = frames.e131(sender, universe, numbers[place], LOOKS[look], start_code=code)
        else:
            code, frame = 0, frames.artdmx(sender, universe, numbers[place], LOOKS[look])
        out.append(Heard(time, frame))
        plain[place].hear(protocol, time, numbers[place], code, LOOKS[look])
    return out, plain


@settings(max_examples=80, deadline=None)
@given(PACKETS, st.sets(st.integers(1, 79), max_size=4))
def test_columns_and_plain_fold_agree(packets: list[Packet], cuts: set[int]) -> None:
    events, plain = heard(packets)
    streams = play(events, cut=cut_at(cuts)).network.streams
    for place, (protocol, universe, sender) in enumerate(FLOWS):
        expected = plain[place]
        found = [
            flow for flow in range(streams.table.size)
            if (streams.protocol[flow], streams.universe[flow]) == (protocol, universe)
            and int(streams.mac[flow]).to_bytes(6, "big") == frames.mac(sender.mac)
        ]  # fmt: skip
        assert len(found) == (expected.counts["packets"] > 0)
        for flow in found:
            assert figures(streams, flow) == wanted(expected)


def figures(streams: Any, flow: int) -> dict[str, int]:
    """What the columns say."""
    apart = streams.lost_split if streams.mixed[flow] else streams.lost
    return {
        "packets": int(streams.packets[flow]), "accepted": int(streams.sequence[flow]), "lost": int(streams.lost[flow]),
        "lost apart": int(apart[flow]), "late": int(streams.late[flow]), "repeated": int(streams.repeated[flow]),
        "jump": int(streams.jumps[flow]), "changes": int(streams.changes[flow]), "last": int(streams.last[flow]),
    }  # fmt: skip


def wanted(plain: Plain) -> dict[str, int]:
    """What the plain fold says."""
    return {
        **plain.counts, "accepted": plain.accepted["all"], "lost": plain.lost["all"], "lost apart": plain.lost["apart"],
        "last": plain.last or 0,
    }  # fmt: skip
