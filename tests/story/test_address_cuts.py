"""Same capture, same answer, however it was cut: rigs in which addresses are given, refused, moved, asked for and guessed at.

A law of the project's own (no outside source).
"""

from __future__ import annotations

from dataclasses import replace
from random import Random
from unittest.mock import patch

from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import Port
from netwatch.plan.expected import Expected, ExpectedDevice
from tests.stories import frames
from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, LAPTOP, ORCHARD, POND, SERVER, STRANGER, WALK
from tests.stories.playing import NS, START, Cut, Event, Heard, Told, cut_at, difference, picture, play, singly

MOVED, STRAY, ODD = BOATHOUSE.at("10.0.0.123"), ORCHARD.at("192.168.1.23"), WALK.at("10.0.0.255")
BOXES = (DESK, BACKUP, WALK, POND, ORCHARD, BOATHOUSE, MOVED, STRAY, ODD)
ADDRESSES = [f"10.0.0.{last}" for last in (0, 10, 23, 100, 101, 102, 105, 109, 255)] + ["10.0.7.9", "169.254.9.9"]
PORTS = (Port("eth0", 1, (frames.mac(LAPTOP.mac),), ("10.0.0.99/24",)),)
PLAN = Expected(
    devices=(ExpectedDevice(name="orchard", mac=ORCHARD.mac, address=ORCHARD.address),), servers=(SERVER.address,),
    networks=("10.0.0.0/24",), pools=(("10.0.0.100", "10.0.0.109"),),
)  # fmt: skip
NARROW = replace(DEFAULTS, cap_habits=5, cap_declines=2, cap_hosts=6, cap_clients=3, cap_servers=1, cap_subjects=2)
QUICK = replace(
    DEFAULTS, fixed_wait_s=30.0, moved_alone_s=10.0, moved_stands_s=30.0, hosts_within_s=40.0, gateway_asks=2, moved_asks=1,
    rebinding_stands_s=20.0, declined_stands_s=15.0, odd_address_after_s=5.0, dhcp_boot_s=10.0, discover_patience_s=30.0,
)  # fmt: skip
"""So short that all comes and goes within a story."""


def frame(random: Random) -> bytes:
    """One packet about addresses."""
    who, address, by = random.choice(BOXES), random.choice(ADDRESSES), random.choice((SERVER, SERVER, STRANGER))
    mask = random.choice(("255.255.255.0", "255.255.0.0", "255.0.255.0", ""))
    router = random.choice(("", "10.0.0.254", "10.0.9.1"))
    answer = {"server": by.address, "yiaddr": address, "mask": mask, "router": router, "by": by}
    lease, flag = random.choice((None, 20, 60, 3600, 0xFFFFFFFF)), random.random() < 0.7
    return random.choice((
        lambda: frames.announce(who, random.choice((who.address, address))),
        lambda: frames.arp(who, address),
        lambda: frames.arp(who, random.choice(BOXES).address),
        lambda: frames.chatter(who, random.choice(("10.0.0.255", "10.255.255.255", "255.255.255.255", "192.168.1.255"))),
        lambda: frames.e131(who, 1 + random.randrange(3), random.randrange(256)),
        lambda: frames.artdmx(who, 1, 0, to="10.255.255.255"),
        lambda: frames.dhcp(frames.DISCOVER, who, host_name=random.choice(("", who.name))),
        lambda: frames.dhcp(frames.REQUEST, who, server=by.address, requested=address),
        lambda: frames.dhcp(frames.REQUEST, who, ciaddr=address),
        lambda: frames.dhcp(frames.DECLINE, who, server=by.address, requested=random.choice((address, ""))),
        lambda: frames.dhcp(frames.ACK, who, lease=lease, broadcast=flag, **answer),
        lambda: frames.dhcp(frames.OFFER, who, lease=lease, broadcast=flag, **answer),
        lambda: frames.dhcp(frames.NAK, who, server=by.address, by=by),
    ))()  # fmt: skip


def rig(seed: int) -> list[Event]:
    """Some packets, some of them again and again; marks with and without news."""
    random = Random(seed)
    seconds = random.choice((12.0, 40.0, 70.0))
    times = [START + int(random.random() * seconds * NS) for _ in range(random.randint(5, 50))]
    events: list[Event] = [Heard(time, frame(random)) for time in times]
    for _ in range(random.randint(0, 4)):
        again, every, begin = frame(random), random.choice((2.0, 4.0, 10.0)), random.random() * seconds / 2
        events += [Heard(START + int((begin + i * every) * NS), again) for i in range(int((seconds - begin) / every))]
    for _ in range(random.randint(0, 4)):
        laptop = {"link": True, "addresses": ["10.0.0.99/8"]}
        facts = random.choice((None, {"link": False}, laptop, {"link": 1, "addresses": [None]}))
        events.append(Told(START + int(random.random() * seconds * NS), facts=facts))
    return sorted(events, key=lambda event: event.time)


def same(seed: int, cuts: int, cut: Cut | None = None) -> None:
    events, random = rig(seed), Random(cuts)
    given_ = {"numbers": random.choice((DEFAULTS, QUICK, QUICK, NARROW)), "plan": random.choice((None, PLAN)),
              "vantage": random.choice((None, "mirror", "ordinary"))}  # fmt: skip
    some = cut_at({random.randrange(len(events)) for _ in range(random.choice((1, 3, 30)))})
    whole = picture(play(events, PORTS, **given_))
    assert not difference(whole, picture(play(events, PORTS, cut=cut or some, **given_)))
    with patch("netwatch.story.play._MOST_CELLS", 1):
        assert not difference(whole, picture(play(events, PORTS, cut=some, **given_)))


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 1 << 32), st.integers(0, 1 << 32))
def test_cut_anywhere(seed: int, cuts: int) -> None:
    same(seed, cuts)


@settings(max_examples=3, deadline=None)
@given(st.integers(0, 1 << 32), st.integers(0, 1 << 32))
def test_every_packet_alone(seed: int, cuts: int) -> None:
    same(seed, cuts, singly)


def test_the_rigs_make_the_rules_speak() -> None:
    """Otherwise the law above would say little."""
    heard: set[str] = set()
    for seed in (0, 3, 6, 11, 24, 30):
        for plan in (None, PLAN):
            told = picture(play(rig(seed), PORTS, numbers=QUICK, vantage="mirror", plan=plan))
            heard |= {each.code for each in told.alerts}
    assert heard >= {
        "dhcp-offer-wrong", "lease-server-silent", "address-moved", "address-declined", "fixed-address-in-pool", "wrong-mask",
        "invalid-address", "two-dhcp-servers", "duplicate-address", "wrong-subnet",
    }  # fmt: skip
