"""Rigs made at random: everything at once that makes a fold hard. The same seed gives the same rig.

Several sources of light at 1 to 44 Hz on two ports, with loss, repeats, packets that come late, equal times, other START
codes, names that change, silences and goodbyes; DHCP, ARP, IGMP, Art-Net and chatter in between; two boxes on one address;
holes, a clock that was set back, unusable times, marks; frames that go round, our own among them, and boxes that flood.
"""

from __future__ import annotations

from random import Random
from struct import pack
from typing import Any

from netwatch.packets.batch import Port
from tests.stories import acn_frames, artnet_frames, frames, switch_frames
from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, LAPTOP, ORCHARD, POND, SERVER, STRANGER, SWITCH, WALK, Box
from tests.stories.playing import NS, START, Event, Heard, Told

SENDERS = (DESK, BACKUP, WALK, POND, DESK.at("10.0.0.77"), BACKUP.at(DESK.address))
NODES = (WALK, POND, ORCHARD, BOATHOUSE)
PORTS = (Port("eth0", 1, (frames.mac(LAPTOP.mac),)), Port("eth1", 1, kind="wifi"))
TICK = NS // 4


def rig(seed: int) -> list[Event]:
    """All that is heard, in order of arrival."""
    random = Random(seed)
    seconds = random.choice((2.0, 5.0, 5.0, 15.0, 40.0))
    parts: list[list[Event]] = [_light(random, seconds) for _ in range(random.randint(1, 5))]
    parts += [part(random, seconds) for part in (_dhcp, _arp, _igmp, _chatter, _beside) if random.random() < 0.7]
    if random.random() < 0.3:
        parts.append(_marks(random, seconds))
    events = sorted((event for part in parts for event in part), key=lambda event: event.time)
    if random.random() < 0.2:
        events = sorted([*events, *_going_round(random, events)], key=lambda event: event.time)
    return _disturb(random, _equal_times(random, events))


def damaged(events: list[Event], seed: int) -> list[Event]:
    """The same, with wrong octets in half of the frames, some of them cut short."""
    random = Random(seed)
    return [_damaged(random, event) if isinstance(event, Heard) and random.random() < 0.5 else event for event in events]


def _damaged(random: Random, event: Heard) -> Heard:
    frame = bytearray(event.frame)
    for _ in range(random.choice((1, 1, 2, 5))):
        place = random.randrange(min(len(frame), random.choice((60, 130, 9_999))))
        frame[place] = random.choice((0, 255, random.randrange(256), frame[place] ^ 1, frame[place] ^ 0x80))
    if random.random() < 0.05:
        frame = frame[: random.randrange(len(frame) + 1)]
    return Heard(event.time, bytes(frame), event.port, event.direction)


# ---- what is heard ----


def _light(random: Random, seconds: float) -> list[Event]:
    """One source on one universe, or a burst of universes."""
    sender, hz = random.choice(SENDERS), random.choice((1, 2.5, 10, 20, 44))
    if seconds > 5:
        hz = min(hz, 100 / seconds)
    begin = random.choice((0.0, 0.0, random.uniform(0, seconds)))
    end = random.choice((seconds, random.uniform(begin, seconds)))
    loss, odd = random.choice((0, 0, 0.02, 0.3)), random.choice((0, 0, 0.05))
    port, vlan = random.choice((0, 0, 0, 1)), random.choice((None, None, 5, 16))
    universes = random.sample(range(1, 5), random.choice((1, 1, 3)))
    art = random.random() < 0.25
    priority, name = random.choice((100, 100, 120)), None
    out: list[Event] = []
    number = random.randrange(256)
    gap = random.uniform(begin, end), random.choice((0, 0, 2.0, 4.0, 12.0))
    for i in range(int((end - begin) * hz) + 1):
        seen = begin + i / hz + random.choice((0, 0, random.gauss(0, 0.002)))
        number += random.choice((1,) * 40 + (0, 90, 200))
        if gap[0] < seen < gap[0] + gap[1] or random.random() < loss:
            continue
        if random.random() < 0.01:
            name = random.choice((None, "gatehouse desk B", "évening"))
        levels = bytes((random.randrange(4) * 50, 7, i // 20 % 256)) * random.choice((1, 40))
        for universe in universes:
            if art:
                counted = number % 255 + 1 if random.random() < 0.98 else 0
                to = frames.EVERYBODY if random.random() < 0.5 else LAPTOP
                packet = frames.artdmx(sender, universe, counted, levels, to=to, vlan=vlan)
            else:
                packet = frames.e131(
                    sender, universe, number, levels, priority=priority, name=name, vlan=vlan,
                    start_code=0xDD if random.random() < odd else 0,
                    options=random.choice((0,) * 60 + (frames.PREVIEW, frames.TERMINATED)),
                )  # fmt: skip
            heard = Heard(_time(seen), packet, port)
            out += [heard] * random.choice((1,) * 50 + (2,))
    return out


def _dhcp(random: Random, seconds: float) -> list[Event]:
    out: list[Event] = []
    for client in random.sample(NODES, random.randint(1, 4)):
        begin, server = random.uniform(0, seconds), random.choice((SERVER, SERVER, STRANGER))
        asked = [frames.dhcp(frames.DISCOVER, client, host_name=random.choice(("", client.name)))] * random.randint(1, 5)
        chosen = frames.dhcp(frames.REQUEST, client, server=server.address, requested="10.0.0.50")
        answer = frames.dhcp(
            random.choice((frames.OFFER, frames.ACK, frames.NAK)), client, server=SERVER.address, yiaddr="10.0.0.50", lease=600,
            mask="255.255.255.0", by=SERVER, broadcast=random.random() < 0.5,
        )  # fmt: skip
        wait = begin
        for packet in [*asked, *random.choice(([], [chosen], [chosen, answer]))]:
            out.append(Heard(_time(wait), packet))
            wait += random.choice((0.001, 1.0, 4.0, 8.0))
    return out


def _arp(random: Random, seconds: float) -> list[Event]:
    out: list[Event] = []
    twin = ORCHARD.at(random.choice((WALK, DESK)).address)
    alone = BOATHOUSE.at("169.254.7.9")
    for _ in range(random.randint(1, 30)):
        who = random.choice((WALK, POND, twin, twin, DESK, alone, BOATHOUSE))
        packet = random.choice((frames.announce(who), frames.arp(who, "10.0.0.1"), frames.probe(who, "10.0.0.7")))
        out.append(Heard(_time(random.uniform(0, seconds)), packet, random.choice((0, 0, 1))))
    return out


def _igmp(random: Random, seconds: float) -> list[Event]:
    out: list[Event] = []
    for _ in range(random.randint(1, 20)):
        who, group = random.choice((LAPTOP, LAPTOP, WALK, POND)), frames.universe_group(random.randint(1, 4))
        packet = random.choice((
            frames.query(version=random.choice((2, 3))), frames.query(WALK), frames.report(who, group), frames.leave(who, group),
            frames.report3(who, group, random.choice((2, 3, 4))), frames.query(group=group),
        ))  # fmt: skip
        out.append(Heard(_time(random.uniform(0, seconds)), packet, random.choice((0, 0, 0, 1))))
    return out


def _chatter(random: Random, seconds: float) -> list[Event]:
    """Unicast of others, for where we listen; polls; broken light."""
    out: list[Event] = []
    boxes: tuple[Box, ...] = (*NODES, DESK, LAPTOP, SWITCH)
    for _ in range(random.randint(1, 40)):
        one, other = random.sample(boxes, 2)
        broken = bytearray(frames.e131(one, 1))
        broken[42 + 118] ^= 1
        packet = random.choice((frames.chatter(one, other), frames.chatter(one), frames.artpoll(one), bytes(broken)))
        direction = 2 if one is LAPTOP and random.random() < 0.5 else 0
        out.append(Heard(_time(random.uniform(0, seconds)), packet, random.choice((0, 0, 1)), direction))
    return out


def _beside(random: Random, seconds: float) -> list[Event]:
    """What goes beside light: synchronization, lists of universes, nodes that answer, words to whole subnets."""
    out: list[Event] = []
    artsync = b"Art-Net\0" + pack("<H", 0x5200) + pack(">HBB", 14, 0, 0)
    for i in range(random.randint(1, 60)):
        who = random.choice(SENDERS)
        packet = random.choice((
            acn_frames.sync(who, random.choice((1, 7, 7999)), i), acn_frames.discovery(who, range(1, random.randint(1, 6))),
            artnet_frames.reply(random.choice(NODES), (1, 2)), artnet_frames.artnet(who, artsync),
            frames.chatter(who, random.choice(("10.0.0.255", "10.255.255.255"))), frames.e131(who, 9, i, bytes(4), sync=7),
            switch_frames.bpdu(changed=random.random() < 0.5),
            switch_frames.lldp(vlan=random.choice((None, 5)), sleeps=i % 2 == 0),
            frames.dhcp(frames.REQUEST, random.choice(NODES), requested="10.0.0.50", xid=i), frames.probe(who, who.address),
        ))  # fmt: skip
        out.append(Heard(_time(random.uniform(0, seconds)), packet, random.choice((0, 0, 1))))
    return out


def _marks(random: Random, seconds: float) -> list[Event]:
    every, dropped = random.choice((1.0, 1.0, 5.0)), 0
    links = random.choice(((True,), (True, True, False)))
    out: list[Event] = []
    for i in range(int(seconds / every) + 1):
        dropped += random.choice((0, 0, 0, 0, 3))
        out.append(Told(_time(i * every), 0, i * 40, dropped, _link(random, links) if i % 3 == 0 else None))
        if i % 2:
            out.append(Told(_time(i * every), 1, None, None, _link(random, (True,))))
    for _ in range(random.choice((0, 0, 3, 12))):
        out.append(Told(_time(random.uniform(0, seconds)), 0, None, None, _word(random)))
    return out


def _link(random: Random, links: tuple[bool, ...]) -> dict[str, Any]:
    """What the laptop says of its interface; some of it is nonsense."""
    return random.choice((
        {"link": "up"},
        {"link": random.choice(links), "up": True, "cell": random.choice(("02:00:00:00:00:a1", "02:00:00:00:00:a2"))},
        {"link": random.choice(links), "speed": random.choice((100_000, "fast", -1)), "duplex": "half", "kind": "wired"},
    ))  # fmt: skip


def _word(random: Random) -> dict[str, Any]:
    """What a person said; of something that may be open or not."""
    code = random.choice(("source-lost", "source-ended", "duplicate-address", "two-dhcp-servers", "packets-lost", "no-such-code"))
    box = random.choice(SENDERS)
    subject = {"source-lost": f"source:{box.cid.hex()}", "source-ended": f"source:{box.cid.hex()}",
               "duplicate-address": f"address:{box.address}", "packets-lost": "universe:1"}.get(code, "rig")  # fmt: skip
    which: dict[str, Any] = {"code": code, "where": random.choice(("", "eth0", "eth1")), "subject": subject}
    return random.choice((
        {"word": "pond dark", "at": START + random.randrange(9 * NS)}, {"phase": random.choice(("show", "building", "x"))},
        {"known": {**which, "why": "hired like that", "worst": random.choice(("soon", "now", None, 7)), "of": [1, "2"]}},
        {"known": {**which, "until": START + random.randrange(40 * NS)}}, {"mended": which}, {"heed": which}, {"known": [code]},
    ))  # fmt: skip


def _going_round(random: Random, events: list[Event]) -> list[Event]:
    """Some frames come again and again for a while."""
    begin = random.randrange(len(events))
    own = Heard(events[begin].time, frames.announce(LAPTOP), 0, 2)
    some = [own, *(event for event in events[begin : begin + random.choice((1, 3, 12))] if isinstance(event, Heard))]
    every, times = random.choice((0.2, 1.0, 4.0, 30.0, 55.0)), random.choice((3, 20, 60, 400 // len(some)))
    return [own, *(
        Heard(event.time + round(i * every * 1e6), event.frame, event.port, event.direction and 1)
        for event in some for i in range(1, times + 1)
    )]  # fmt: skip


# ---- what makes it hard ----


def _time(seconds: float) -> int:
    return START + round(seconds * NS)


def _equal_times(random: Random, events: list[Event]) -> list[Event]:
    """Coarse clocks: many packets with one time, some of them on a tick's edge."""
    step = random.choice((0, 0, 1_000_000, 10_000_000, TICK))
    if not step:
        return events
    return [moved(event, event.time // step * step - event.time) for event in events]


def _disturb(random: Random, events: list[Event]) -> list[Event]:
    """Late packets, holes, a clock set back, times that can't be."""
    out = list(events)
    if random.random() < 0.4:
        for _ in range(len(out) // 20):
            place = random.randrange(len(out))
            late = out.pop(place)
            out.insert(min(len(out), place + random.randint(1, 12)), late)
    for chance, shift in ((0.2, 700 * NS), (0.2, -30 * NS), (0.1, -900 * NS), (0.05, 86_400 * NS)):
        if random.random() < chance and out:
            place = random.randrange(len(out))
            out[place:] = [moved(event, shift) for event in out[place:]]
    if random.random() < 0.1 and out:
        place = random.randrange(len(out))
        out[place] = moved(out[place], -START)
    return out


def moved(event: Event, by: int) -> Event:
    if isinstance(event, Told):
        return Told(event.time + by, event.port, event.received, event.dropped, event.facts)
    return Heard(event.time + by, event.frame, event.port, event.direction)
