"""What sACN packets say: synchronization, numbers, priorities of single channels, frames that break the standard."""

from __future__ import annotations

from sacn.sending import sender_handler

from rig.scenario import Stage, scenario
from rig.scenes.light import SHORT, rig

SYNC = 100
ROOT_VECTOR, FRAMING_VECTOR, UNIVERSE, COUNT = slice(18, 22), slice(40, 44), slice(113, 115), slice(123, 125)
"""Where fields stand in a packet (E1.31-2018 tables 4-1, 4-2)."""


def _without_sync(packet: bytes) -> bytes | None:
    """All but synchronization packets (E1.31-2018 app. A)."""
    is_sync = packet[ROOT_VECTOR] == b"\0\0\0\x08" and packet[FRAMING_VECTOR] == b"\0\0\0\x01"
    return None if is_sync else packet


@scenario("synchronized light whose synchronization stops", settings=SHORT)
def sync_lost(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 1, 2, SYNC)
    desk = stage.desk(gatehouse, (1, 2), "gatehouse desk", sync=SYNC)
    stage.at(12)
    desk.bend = _without_sync
    stage.say("gatehouse", "its synchronization stops, its light goes on", "no-sync")
    stage.at(22)


@scenario("synchronized light; the laptop did not ask for the synchronization's group", settings=SHORT)
def synchronized(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 1, 2)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", sync=SYNC)
    stage.at(24)


@scenario("somebody typed universe 0; the switch passes everything on", settings=SHORT)
def universe_zero(stage: Stage) -> None:
    stage.laptop()
    gatehouse, boathouse = stage.hosts(gatehouse="10.77.0.10/16", boathouse="10.77.0.11/16")
    stage.lan.set(mcast_snooping=0)
    stage.begin()
    stage.talk(gatehouse, boathouse)
    stage.desk(boathouse, (1,), "boathouse desk")
    stage.at(4)
    stage.desk(gatehouse, (2,), "gatehouse desk", unicast="239.255.0.0", bend=_zero, listed=False, cause="zero")
    stage.at(14)


def _zero(packet: bytes) -> bytes:
    return packet[: UNIVERSE.start] + bytes(2) + packet[UNIVERSE.stop :]


@scenario("two desks share a universe, one with a priority for each channel, the other with one for all", settings=SHORT)
def slot_priority(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.desk(gatehouse, (1,), "gatehouse desk", by_slot=True)
    stage.at(4)
    stage.desk(boathouse, (1,), "boathouse desk", slots=range(100, 124), cause="mixed")
    stage.at(20)


@scenario("a desk says 512 channels, and its packets hold 400", settings=SHORT)
def malformed(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1, 2)
    stage.desk(boathouse, (2,), "boathouse desk")
    stage.at(4)
    stage.desk(gatehouse, (1,), "gatehouse desk", bend=lambda packet: packet[:526], listed=False, cause="short")
    stage.at(18)


@scenario("a desk sends 70 frames a second", settings=SHORT)
def too_fast(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1, 2)
    stage.desk(gatehouse, (1,), "gatehouse desk", hz=70, cause="fast")
    stage.desk(boathouse, (2,), "boathouse desk", hz=44)
    stage.at(24)


@scenario("44 frames a second, short universes, a priority for each channel: all within the standard", settings=SHORT)
def full_speed(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1, 2)
    stage.desk(gatehouse, (1,), "gatehouse desk", hz=44, by_slot=True)
    stage.desk(boathouse, (2,), "boathouse desk", hz=44, bend=_short)
    stage.at(24)


def _short(packet: bytes) -> bytes:
    """The same packet with 24 slots (E1.31-2018 7.6), lengths made to fit."""
    if packet[ROOT_VECTOR] != b"\0\0\0\x04":
        return packet
    short = bytearray(packet[: 126 + 24])
    for at, before in ((16, 16), (38, 38), (115, 115)):
        short[at : at + 2] = (0x7000 | len(short) - before).to_bytes(2)
    short[COUNT] = (25).to_bytes(2)
    return bytes(short)


@scenario("a desk whose list of universes leaves one out that it sends; lists come every 2 s",
          settings={**SHORT, "listed_within_s": 6.0})
def list_leaves_out(stage: Stage) -> None:
    sender_handler.E131_E131_UNIVERSE_DISCOVERY_INTERVAL = 2  # of this run's process alone
    gatehouse, boathouse = rig(stage, 1, 2, 3)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.desk(boathouse, (3,), "boathouse desk", resting=(3,))
    stage.at(6)
    stage.desk(gatehouse, (2,), "gatehouse desk", listed=False, cause="unlisted")
    stage.at(28)
