"""Words of the printed report: heads, labels, whole sentences. Neutral, for people who were not there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from .phrases import count, listing, number, plain, seconds, start

TITLE = "Report on the lighting network"
TITLE_RENTAL = "Devices, for whoever lends them"
TITLE_IT = "Lighting network, for the IT department"
SHORT, DRAWN, FOUND, MARKED, RECORD, CHECKED, SENT, RIG, PACKETS = (
    "In short", "The session, drawn to scale", "What was found, worst first", "Marked by hand", "For the record",
    "What was checked", "What this laptop sent", "The rig as heard", "Packets that it rests on",
)  # fmt: skip
FINE, WRONG, UNSEEN, UNUSED = "Checked, and fine", "Checked, and wrong", "Could not be seen from here", "Not used here"
JOB, DATE, BY, SOCKET, RECORDED, ZONE, LISTENED, READ, DROPPED, TRUST, PHASE, RECORDING, PROGRAM, SETTINGS = (
    "Job", "Date", "By whom", "Plugged in at (socket)", "Recorded", "Time zone", "Listened", "Read", "Dropped by the laptop",
    "Trust", "Phase", "Recording", "Program", "Settings",
)  # fmt: skip
WHEN, SEEN, SURE, MAYBE, BEFORE, DO, HENCE = (
    "When", "What was seen", "How sure", "What else could explain it", "What changed just before", "What to do",
    "What follows from it",
)  # fmt: skip
AGAINST_PLAN = "What differs from the plan"
PLAN_COLUMNS = ("Device", "Asset", "Place", "How", "What")
TREE = {0: "STP", 2: "RSTP", 3: "MSTP"}
"""By protocol version (IEEE 802.1D-2004 9.3.1 and 9.3.3, 802.1Q 14.4; from memory)."""

HAPPENED: Mapping[str, str] = {
    "word": "Mark", "phase": "Phase", "hole": "Gap", "clock-set-back": "Clock", "listening": "Listening",
    "recording": "Recording", "laptop": "Laptop", "telling": "Telling",
}  # fmt: skip
"""Kinds of happenings that stand in the record."""
DISTURBS = "Disturbs"
SENT_NOTHING = "Nothing. It only listened: it joined no group, asked no question and sent no packet."
SENT_BUT = "All of it was asked for by name. Levels are never sent."
NOTHING_FOUND = "Nothing wrong was found in what can be seen from here."
NO_FILES = "No packet was recorded, so there is nothing to report."
CAUTION = (
    "This report comes from a tool for finding faults, not from a safety device. It can be wrong, and it shows only what "
    "passed where the laptop listened. Before anything is plugged, restarted or changed: clear the area and tell whoever calls "
    "the show, because fixtures may move, strobes flash and lamps strike. For pyrotechnics, motors, moving scenery and mains "
    "power, local codes and licensed people come first."
)
PRIVATE = "Boxes with a made-up MAC or a personal name are shown without it."
PACKETS_OF = "numbers count all packets of the recording, from 1"
NOT_KEPT = "its bytes were not kept"
OTHERS = "other sources"
RATE, LOSS = "Light, packets/s", "Lost"
DARKER = "The stronger a strip stands out, the more packets a second; where there is none was silence."

RENTAL_COLUMNS = (
    "Asset", "Device", "Maker", "MAC", "Firmware, as it says", "First heard", "Last heard", "Went silent", "What was found",
)  # fmt: skip
RENTAL_NOTE = (
    "'Setting': the cause is most likely how it is set up. 'Perhaps hardware': a cable, a socket, the power or the device "
    "itself; from here these can't be told apart. Nothing in the last column: nothing was found, not that the device is sound."
)
SETTING, HARDWARE = "setting", "perhaps hardware"
OF_DEVICES: Mapping[str, str] = {
    **dict.fromkeys(
        (
            "duplicate-address", "wrong-subnet", "wrong-mask", "invalid-address", "fixed-address-in-pool", "address-moved",
            "two-dhcp-servers", "dhcp-offer-wrong", "two-queriers", "sources-fighting", "preview-only", "universe-out-of-range",
            "wrong-multicast-group", "slot-priority-mixed", "cid-cloned", "discovery-mismatch", "rate-too-high", "rate-too-low",
            "artnet-off-by-one", "artnet-number-mixed-up", "reply-address-wrong", "controllers-merging", "same-node-name",
            "both-protocols-one-universe", "protocols-off-by-one", "artnet-broadcast-load",
        ), SETTING),
    **dict.fromkeys(
        (
            "lease-server-silent", "querier-lost", "deaf-receiver", "source-lost", "packets-lost", "malformed-frames",
            "sync-lost",
            "poll-unanswered", "sequence-stuck", "artnet-sync-trouble", "controller-left",
        ), HARDWARE),
}  # fmt: skip
"""What the causes of an alert about a device mostly are; codes about the network as a whole are left out."""
GONE = ("source-lost", "controller-left", "poll-unanswered", "lease-server-silent", "querier-lost")
"""Alerts that a device could not be heard for a while."""

IT_NOTE = (
    "Times are local and UTC. VLAN: as tagged on the wire where the laptop listened; '-' is untagged. "
    "Packet numbers count within the named file, from 1."
)


def phone(place: int) -> str:
    """Stands for a box that hides its MAC."""
    return f"phone or tablet {place}"


def computer(place: int) -> str:
    """Stands for a box that bears a person's name."""
    return f"personal device {place}"


def listened(day: str, first: str, last: str, places: Sequence[str], boxes: int, universes: int) -> str:
    """The first sentence."""
    light = count(universes, "universe of light", "universes of light") if universes else "no light"
    where = f" on {listing(places)}" if places else ""
    return f"On {day} from {first} to {last} this laptop listened{where}; it heard {count(boxes, 'box', 'boxes')} and {light}."


def worst(found: Sequence[tuple[str, str, str | None]], others: int) -> str:
    """The second: the worst of what was found, each with its title, when it began and when it was over."""
    told = [f"at {at}: {plain(title)} ({f'over at {until}' if until else 'not over at the end'})" for title, at, until in found]
    more = f"; {count(others, 'more finding stands', 'more findings stand')} below" if others else ""
    return f"{start('; '.join(told))}{more}."


def meanwhile(link: bool | None, dropped: int, others: int) -> str:
    """The third: what went on. ``link``: it stayed up; None = not told."""
    parts = []
    if link is not None:
        parts.append(f"the laptop's link {'stayed up' if link else 'changed, too'}")
    parts.append(f"{count(others, 'other box was', 'other boxes were')} still heard")
    lost = "no packet was dropped on the laptop" if not dropped else f"the laptop dropped {count(dropped, 'packet', 'packets')}"
    parts.append(lost)
    return f"Meanwhile {listing(parts, 9)}."


def unchecked(names: Sequence[str]) -> str:
    """Where nothing was found."""
    return f"It could not be checked from here: {listing([f'“{plain(name)}”' for name in names], 11)}."


def file_packet(n: int, place: tuple[str, int] | None) -> str:
    """Where a packet stands: 'packet 12 of evening.pcapng'."""
    return f"packet {number(n)}" if place is None else f"packet {number(place[1])} of {plain(place[0])}"


def went_silent(times: int, at: Sequence[str]) -> str:
    """'2 times: 21:40:12, 22:05:00'."""
    return f"{count(times, 'time', 'times')}: {listing(at, 3)}" if times else ""


def more(left: int) -> str:
    """Of a longer list."""
    return f"and {number(left)} more"


def long(wire: int, kept: int) -> str:
    """How long a packet was."""
    return count(wire, "byte", "bytes") + (f", {number(kept)} of them recorded" if kept < wire else "")


def firmware(value: int) -> str:
    """VersInfo as 'high.low' (Art-Net 4 (1.4di) p.25: high octet, low octet)."""
    return f"{value >> 8}.{value & 0xFF}"


def rested(numbers: Sequence[int], shown: int) -> str:
    """Under the packets of one alert."""
    left = listing([number(n) for n in numbers[shown:]], 8)
    return f"It also rests on {'packet' if len(numbers) - shown == 1 else 'packets'} {left}." if left else ""


def lasted(first: str, last: str | None, span: str, live: bool) -> str:
    """'14:06:09 to 14:08:14 (125 s)'."""
    if last is None:
        return f"Since {first}, {span} {'so far' if live else 'to the end'}."
    return f"{first} to {last} ({span}). Over."


def steps_of(step_ns: int) -> str:
    """Under the drawing."""
    return f"A step of the drawing is {seconds(step_ns / 1e9)}."


def where(times: int, again: int | None, interface: str, vlan: int | None) -> str:
    """How often an alert came, and where."""
    often = f"It came {count(times, 'time', 'times')}. " if times > 1 else ""
    before = f"It was there before, as alert {again}. " if again is not None else ""
    return f"{often}{before}On {plain(interface)}{f', VLAN {vlan}' if vlan is not None else ''}."


def trust(doubts: Sequence[str]) -> str:
    """Whether the recording is whole."""
    return f"Limited. {start('. '.join(doubts))}." if doubts else "Good: no packet is known to be dropped."


def place(interface: str, vantage: str, reasons: Sequence[str], own: Sequence[str], link: str) -> str:
    """Where the laptop listened on one interface."""
    why = f" ({'; '.join(plain(each) for each in reasons)})" if reasons else ""
    mine = f"; this laptop has {listing(own, 2)}" if own else ""
    return f"{plain(interface)}: {vantage}{why}{mine}{f'; link {plain(link)}' if link else ''}"


def devices(number: int) -> str:
    """'31 devices'."""
    return count(number, "device", "devices")


def not_heard(devices: Sequence[str]) -> str:
    """Devices of the plan, below the table."""
    return f"Of the plan, but not heard: {listing(devices, 60)}."


def happened(what: str, text: str) -> str:
    """A line of the record."""
    return f"{HAPPENED[what]}: {plain(text)}"


def because(text: str, alert: int | None) -> str:
    """Why a check is as it is."""
    return plain(text) if alert is None else f"{plain(text)} (alert {alert})"


def ours(light: Sequence[str]) -> str:
    """What another program on this laptop sent."""
    return f"Another program on this laptop sent light: {listing(light, 8)}."


def numbered(alert: int) -> str:
    """Its number in all lists."""
    return f"Alert {alert}."


def as_for(alert: int) -> str:
    """Its steps stand with another one."""
    return f"As for alert {alert} above."


def changed_to(first: str, last: str) -> str:
    """A firmware that was another one at first."""
    return f"{first}, later {last}"


def left_out(personal: int) -> str:
    """Under the table of devices."""
    return f"{count(personal, 'personal device is', 'personal devices are')} left out."
