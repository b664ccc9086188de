"""What switches say of themselves is kept: LLDP made by scapy, spanning tree by IEEE 802.1D-2004 9.3 (from memory)."""

from __future__ import annotations

from scapy.contrib.lldp import (
    LLDPDU,
    LLDPDUChassisID,
    LLDPDUEndOfLLDPDU,
    LLDPDUPortDescription,
    LLDPDUPortID,
    LLDPDUSystemName,
    LLDPDUTimeToLive,
)
from scapy.layers.l2 import Ether

from netwatch.numbers import DEFAULTS
from tests.stories.boxes import SWITCH
from tests.stories.playing import play
from tests.stories.script import every, ns
from tests.stories.switch_frames import bpdu


def lldp(name: str, port: str, mac: str = SWITCH.mac) -> bytes:
    """A switch with a name, as a reference library writes it."""
    unit = (
        LLDPDUChassisID(subtype=4, id=mac) / LLDPDUPortID(subtype=5, id=port) / LLDPDUTimeToLive(ttl=120)
        / LLDPDUPortDescription(description=f"to {port}") / LLDPDUSystemName(system_name=name) / LLDPDUEndOfLLDPDU()
    )  # fmt: skip
    assert isinstance(unit, LLDPDU)
    return bytes(Ether(src=mac, dst="01:80:c2:00:00:0e", type=0x88CC) / unit)


def test_each_port_that_speaks_lldp_is_kept_with_its_newest_word() -> None:
    words = [*every(30, lldp("core switch", "g1"), stop=60), *every(30, lldp("renamed", "g1"), start=60, stop=91)]
    other = every(30, lldp("pond switch", "g7", "02:00:00:00:00:fd"), start=5, stop=90)
    shot = play(sorted([*words, *other], key=lambda each: each.time)).snapshot()
    assert [(each.name, each.chassis, each.port, each.text, each.first, each.last) for each in shot.neighbours] == [
        ("renamed", SWITCH.mac, "g1", "to g1", ns(0), ns(90)),
        ("pond switch", "02:00:00:00:00:fd", "g7", "to g7", ns(5), ns(65)),
    ]


def test_topology_changes_are_counted_once_each() -> None:
    """A switch flags its BPDUs for some 35 s after a change (IEEE 802.1D-2004 17.14)."""
    flagged = [*every(2, bpdu(changed=True), start=20, stop=55), *every(2, bpdu(changed=True), start=100, stop=110)]
    calm = [*every(2, bpdu(), stop=20), *every(2, bpdu(), start=56, stop=100)]
    (one,) = play(sorted([*flagged, *calm], key=lambda each: each.time)).snapshot().bridges
    assert (one.root, one.bridge, one.port) == (f"32768/{SWITCH.mac}", f"32768/{SWITCH.mac}", 0x8001)
    assert (one.version, one.changes, one.changed, one.heard) == (0, 2, ns(108), 55)


def test_a_stranger_can_not_fill_the_table() -> None:
    made = [lldp("x", f"port {i}", f"02:00:00:00:{i >> 8:02x}:{i & 255:02x}") for i in range(1_000)]
    shot = play([event for i, frame in enumerate(made) for event in every(1, frame, start=i / 10, stop=i / 10 + 0.5)]).snapshot()
    assert len(shot.neighbours) <= DEFAULTS.cap_neighbours
    assert next(each for each in shot.limits if each.table == "LLDP neighbours").first_hit is not None
