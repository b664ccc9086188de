"""Tables that a stranger can fill: ten times more invented entries than there is room for. The project's own law (no source).

Honest boxes were there before and go on; they stay, tables hold, and the picture says which limits were reached.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from netwatch.network.multicast import Member
from netwatch.numbers import DEFAULTS, Numbers
from netwatch.story.play import Player
from netwatch.story.snapshot import Limit, Snapshot
from tests.stories import acn_frames, artnet_frames, frames
from tests.stories.boxes import DESK, LAPTOP, POND, SERVER, WALK, Box
from tests.stories.playing import NS, Event, cut_at, difference, picture, play
from tests.stories.script import at, every, stream

CAP = 40
SMALL = replace(
    DEFAULTS, cap_flows=CAP, cap_hosts=CAP, cap_clients=CAP, cap_servers=CAP, cap_groups=CAP, cap_nodes=CAP, cap_pollers=CAP,
    cap_announcers=CAP, cap_records_tick=1_000_000, cap_records_mac=1_000_000,
)  # fmt: skip
GROUP = frames.universe_group(1)
HONEST: list[Event] = [
    *stream(1, DESK, hz=10, stop=10), *every(0.5, frames.announce(WALK), stop=10),
    *every(2, frames.query(), frames.report(LAPTOP, GROUP), stop=10),
    *every(2, frames.dhcp(frames.REQUEST, POND, server=SERVER.address, requested="10.0.0.50", host_name="mill pond"), stop=10),
    *every(1.5, artnet_frames.poll(DESK), artnet_frames.reply(WALK, (1, 2)), stop=10),
]  # fmt: skip


def stranger(i: int) -> Box:
    """An invented box with a name, a MAC and an address of its own."""
    low = f"{i >> 8 & 255:02x}:{i & 255:02x}"
    return Box(f"stranger {i}", f"06:00:00:{i >> 16:02x}:{low}", f"172.{16 + (i >> 16)}.{i >> 8 & 255}.{i & 255}")


def controls(i: int) -> str:
    """A name of 64 control characters, each time another one (63 and the null octet that ends it: E1.31-2018 6.2.2)."""
    return "".join(chr(1 + (i >> place % 20) % 31) for place in range(63))


def flood(make: Callable[[int], bytes], count: int = 10 * CAP, start: float = 5, seconds: float = 3) -> list[Event]:
    """Invented packets while the honest ones go on; the last ones come thick."""
    return [event for i in range(count) for event in at(start + seconds * (i / count) ** 0.5, make(i))]


def heard(events: Sequence[Event], numbers: Numbers = SMALL) -> Player:
    return play(sorted((*HONEST, *events), key=lambda event: event.time), numbers=numbers)


BOAT = stranger(9_999)


def limit(shot: Snapshot, table: str) -> Limit:
    return next(each for each in shot.limits if each.table == table)


FLOODS: dict[str, tuple[str, Callable[[int], bytes]]] = {
    "CIDs": ("flows", lambda i: frames.e131(stranger(i), 2, levels=bytes(4))),
    "universes": (
        "flows",
        lambda i: frames.e131(WALK if i < 63_000 else stranger(i // 63_000), 10 + i % 63_000, levels=bytes(4)),
    ),
    "addresses": ("addresses", lambda i: frames.announce(stranger(i))),
    "MACs": ("boxes", lambda i: frames.announce(stranger(i))),
    "addresses of one box": ("addresses", lambda i: frames.arp(stranger(0), "10.0.0.1", says=stranger(i).address)),
    "MACs on one address": ("addresses", lambda i: frames.announce(stranger(i).at(WALK.address))),
    "DHCP clients": ("DHCP clients", lambda i: frames.dhcp(frames.DISCOVER, stranger(i), host_name=f"stranger {i}")),
    "DHCP servers": ("DHCP servers", lambda i: frames.dhcp(frames.REQUEST, stranger(i), server=stranger(i).address)),
    "groups": (  # of one box alone most would only be counted
        "groups",
        lambda i: frames.report(stranger(i % 16), f"239.{255 - (i >> 16)}.{i >> 8 & 255}.{(i + 2) & 255}"),
    ),
    "queriers": ("queriers", lambda i: frames.query(stranger(i))),
    "ArtPollReplies": ("Art-Net nodes", lambda i: artnet_frames.reply(stranger(i), (i & 0x7FFF,))),
    "binds of one box": ("Art-Net nodes", lambda i: artnet_frames.reply(stranger(0), bind=i & 255, address=stranger(i).address)),
    "ArtPolls": ("Art-Net pollers", lambda i: artnet_frames.poll(stranger(i))),
    "names of control characters": ("flows", lambda i: frames.e131(stranger(i), 2, levels=bytes(4), name=controls(i))),
    "lists of universes": ("announcers", lambda i: acn_frames.discovery(stranger(i), (1, 2))),
}


@pytest.mark.parametrize("name", FLOODS)
def test_the_table_holds_and_says_so(name: str) -> None:
    table, make = FLOODS[name]
    shot = heard(flood(make)).snapshot()
    reached = limit(shot, table)
    assert reached.held <= reached.cap == CAP
    assert reached.refused + reached.evicted >= 6 * CAP
    assert reached.first_hit is not None


def honest_left(player: Player) -> tuple[int, int]:
    """How many of the honest entries are still there, of how many."""
    shot, multicast = player.snapshot(), player.network.multicast
    hosts = {(each.mac, address) for each in shot.hosts for address in each.addresses}
    group = multicast.groups.get((0, GROUP))
    left = (
        [each.packets for each in shot.streams if each.source == DESK.cid.hex()] == [_sent_by_the_desk(player)],
        (DESK.mac, DESK.address) in hosts,
        (WALK.mac, WALK.address) in hosts,
        any(("mill pond", "DHCP") in each.names for each in shot.hosts if each.mac == POND.mac),
        SERVER.address in [each.address for each in shot.servers],
        "10.0.0.254" in [each.address for each in shot.queriers],
        group is not None and LAPTOP.mac in group.members,
        WALK.address in [each.address for each in shot.nodes],
        DESK.address in [each.address for each in player.network.pollers.values()],
    )
    return sum(left), len(left)


def _sent_by_the_desk(player: Player) -> int:
    """Packets that the desk must have by now: ten a second."""
    first, last = player.network.begun or 0, player.clock.now or 0
    return (last - first) // (NS // 10) + 1


@pytest.mark.parametrize("name", FLOODS)
def test_honest_entries_stay(name: str) -> None:
    left, whole = honest_left(heard(flood(FLOODS[name][1])))
    assert left == whole


@pytest.mark.parametrize("name", FLOODS)
def test_a_flood_may_be_cut_anywhere(name: str) -> None:
    events = sorted((*HONEST, *flood(FLOODS[name][1], 4 * CAP)), key=lambda event: event.time)
    whole = picture(play(events, numbers=SMALL))
    assert not difference(whole, picture(play(events, numbers=SMALL, cut=lambda place: place % 11 == 3)))
    assert not difference(whole, picture(play(events, numbers=SMALL, cut=cut_at({150, 151, len(events) - 1}))))


def test_a_flood_of_members_of_our_group() -> None:
    """More than the 64 that are kept of one group."""
    player = heard(flood(lambda i: frames.report(stranger(i), GROUP), 640))
    members: dict[str, Member] = player.network.multicast.groups.get((0, GROUP)).members  # type: ignore[union-attr]
    assert len(members) == 64
    assert LAPTOP.mac in members


def test_a_flood_of_vlans() -> None:
    """The first 64 segments are told apart, all others are one."""
    shot = heard(flood(lambda i: frames.announce(stranger(i), vlan=1 + i), 640), DEFAULTS).snapshot()
    reached = limit(shot, "segments")
    assert (reached.cap, reached.held) == (64, 64)
    assert reached.refused == 640 - 63
    assert len({(each.interface, each.vlan) for each in shot.hosts}) <= 65
    assert "others" in {each.interface for each in shot.hosts}


def test_a_storm_of_rare_packets_is_counted_not_choked_on() -> None:
    """At most so many of a kind a tick, and fewer of one sender; one honest box is heard all the same."""
    few = replace(DEFAULTS, cap_records_tick=20, cap_records_mac=5)
    storm = [event for i in range(100) for event in at(6.1, frames.query(stranger(0), group=frames.universe_group(i + 1)))]
    player = heard([*storm, *at(6.2, frames.report(BOAT, GROUP))], few)
    shot = player.snapshot()
    assert shot.undecoded["storm of rare packets"] == 95
    assert BOAT.mac in player.network.multicast.groups.get((0, GROUP)).members  # type: ignore[union-attr]


def test_reasons_for_not_reading_have_an_end() -> None:
    """They name lengths and numbers of the packet, of which there are many."""
    rdm = b"Art-Net\0\x00\x83\x00\x0e\x01" + bytes(8) + b"\0\0\1"
    odd = [artnet_frames.artnet(stranger(i), rdm + bytes((7, i & 255)) + bytes(40)) for i in range(200)]
    shot = heard([event for i, frame in enumerate(odd) for event in at(5 + i / 100, frame)]).snapshot()
    assert sum(shot.undecoded.values()) == 200
    assert len(shot.undecoded) <= 40
    assert shot.undecoded["for other reasons"] >= 160


def test_settled_entries_leave_when_a_day_has_passed_and_room_is_needed() -> None:
    """Who goes on stays: by a word, or by light alone."""
    day = 86_400
    old = [event for i in range(CAP // 2 + 5) for event in every(1, frames.announce(stranger(i)), start=i, stop=i + 3)]
    goes_on = [*stream(1, DESK, hz=2, stop=30), *every(2, frames.announce(WALK), stop=30)]
    again = {"start": day + 40, "stop": day + 70}
    later = [*stream(1, DESK, hz=2, **again), *every(2, frames.announce(WALK), **again)]
    player = play(sorted((*old, *goes_on, *later), key=lambda event: event.time), numbers=SMALL)
    assert sorted(each.mac for each in player.snapshot().hosts) == sorted((DESK.mac, WALK.mac))
    assert player.network.claims.table.held == 2
