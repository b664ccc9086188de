"""Words of the alerts about Wi-Fi."""

from __future__ import annotations

from .base import CAUTION, IN_FULL, NOTHING, Clock, Words, light, said
from .phrases import Facts, count, name, number, seconds, share

_BEACON_MS = 102.4
"""Of 100 time units of 1.024 ms (IEEE 802.11, from memory)."""


def _port(facts: Facts) -> str:
    return name(facts.get("interface"), "this laptop")


def _clump_title(facts: Facts) -> str:
    lost, beacons = facts.get("share"), facts.get("beacons")
    if beacons:
        return f"On Wi-Fi light comes in clumps, {number(beacons * _BEACON_MS)} ms apart"
    return "On Wi-Fi light gets lost in the air" + (f": {share(lost)}" if lost is not None else "")


def _clump_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    beacons, lost = facts.get("beacons"), facts.get("share")
    wait = f"{count(beacons, 'beacon', 'beacons')} of the access point" if beacons else ""
    return said(
        f"Packets of {light(facts, IN_FULL)} come together, then none until {wait} later." if beacons and light(facts) else None,
        f"{share(lost)} of the packets by multicast did not arrive here." if lost else None,
    )


def _roam_title(facts: Facts) -> str:
    span, times = facts.get("seconds"), facts.get("times")
    pause = f"light paused for {seconds(span)}" if span is not None else "light paused"
    often = f", {number(times)} times" if times and times > 1 else ""
    return f"{name(facts.get('interface'), 'This laptop')} went to another access point{often}: {pause}"


def _roam_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    before, now = facts.get("before"), facts.get("cell")
    return said(
        f"From {name(before, 'one access point')} to {name(now, 'another')}." if before or now else None,
        "All light stopped together, and came back together.",
    )


def _alone_title(facts: Facts) -> str:
    if facts.get("asked"):
        return "This Wi-Fi keeps its boxes apart: the laptop reaches none of them"
    return "Only the access point is heard on this Wi-Fi: it may keep boxes apart"


def _alone_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    asked = facts.get("asked")
    return said(
        f"For a minute nobody but {name(facts.get('cell'), 'one box')} was heard.",
        f"{count(asked, 'planned box was', 'planned boxes were')} asked for, and none answered." if asked else None,
    )


WIFI: dict[str, Words] = {
    "wifi-clumping": Words(
        title=_clump_title,
        why="By Wi-Fi nobody confirms or repeats packets to groups, and the access point holds them back while any device "
        "sleeps. Effects jump ten times a second; every lost packet stays lost.",
        steps=(
            ("Use a cable, at least for this laptop and for what matters.", NOTHING),
            ("Send to the few receivers on Wi-Fi by unicast.", f"their light stops while you change it; {CAUTION}"),
            ("In the access point: multicast to unicast on, DTIM 1, a band and a name of its own, no mesh.",
             f"all its devices are cut off for a minute; {CAUTION}"),
            ("Send fewer universes by Wi-Fi.", f"those that are left out go dark there; {CAUTION}"),
        ),
        mistaken=(
            "a sender whose rate is low or uneven",
            "power saving of this laptop's own card",
            "an access point that turns multicast into unicast for each device: then nothing clumps",
        ),
        seen=_clump_seen,
        sure={
            "certain": "the packets' own numbers show what is missing",
            "likely": "the spacing is that of the access point's beacons; the laptop's own power saving would look alike",
            "hint": "few packets were heard",
        },
        how="On a Wi-Fi interface: more than 60 % of a stream's packets come within 15 ms of each other, in clumps 95 to 110 ms "
        "apart or two or three times that; or more than 1 % of 60 s are lost (worse: 5 %).",
        where="Only on Wi-Fi. It tells of the air between the access point and this laptop; boxes on cables may be fine.",
    ),
    "wifi-isolated": Words(
        title=_alone_title,
        why="In 'guest' or 'isolated' networks devices reach the way out, and not each other. A tablet then never finds a node.",
        steps=(
            ("Look at the network's name: is it meant for guests?", NOTHING),
            ("Use the cable.", NOTHING),
            ("Switch client isolation (guest mode, AP isolation) off in the access point.",
             f"all its devices are cut off for a minute; {CAUTION}"),
        ),
        mistaken=(
            "a network on which nobody else is switched on",
            "an access point that answers ARP itself for its devices",
            "an access point that sends multicast to each device by unicast, and only to those that asked",
        ),
        seen=_alone_seen,
        sure={
            "certain": "nobody was heard, and nobody answered",
            "likely": "planned boxes were asked for and did not answer",
            "hint": "nobody else was heard; perhaps nobody else is there",
        },
        how="On Wi-Fi for 60 s, only one other network card was heard. Surer where the plan names boxes, and three of them that "
        "this laptop asked for (ARP) were never heard.",
        where="Only on Wi-Fi, at this laptop.",
    ),
    "wifi-roamed": Words(
        title=_roam_title,
        why="While a device changes its access point it gets nothing, and must ask for its universes again: half a second of "
        "darkness when people walk about.",
        steps=(
            ("Do not judge losses of that moment: they are this laptop's.", NOTHING),
            ("Use the cable.", NOTHING),
            ("Tie receivers to one access point and one band; give each band a name of its own.",
             f"the device is cut off for a moment; {CAUTION}"),
        ),
        mistaken=(
            "power saving: clumps, and no pause",
            "a switch that forgot a group: minutes, not half a second",
            "an access point that must leave its channel (radar): a second and more, for all devices, and the same access point",
        ),
        seen=_roam_seen,
        sure={
            "certain": "the system told another access point within a second of the pause",
            "likely": "the access point changed",
            "hint": "the access point changed",
        },
        how="The laptop tells another access point, and within a second of it all light paused for at least 50 ms, twice as long "
        "as in the seconds before.",
        where="Only on Wi-Fi, where the system tells the access point: live, or in a capture that netwatch kept.",
    ),
}
