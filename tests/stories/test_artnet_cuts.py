"""However what was heard is cut, the rules over Art-Net and both protocols say the same. Rigs are made at random by seed."""

from __future__ import annotations

from random import Random
from unittest.mock import patch

import pytest

from netwatch.packets.batch import Port
from tests.stories import frames
from tests.stories.artnet_frames import FED, MERGING, artnet, levels, poll, reply, sync
from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, ORCHARD, POND, WALK
from tests.stories.playing import NS, START, Event, Heard, difference, picture, play, singly

SENDERS = (DESK, BACKUP, BACKUP.at("10.0.0.77"))
NODES = (WALK, POND, ORCHARD, BOATHOUSE)


def shown(random: Random, universe: int, i: int) -> bytes:
    return bytes((slot * (universe + 2) + i * 3) % 251 for slot in range(512)) if random.random() < 0.97 else bytes(512)


def times(random: Random, seconds: float, pause: float) -> list[int]:
    begin, end = sorted((random.uniform(0, seconds), random.uniform(0, seconds)))
    return [START + round((begin + i * pause) * NS) + random.randrange(2_000_000) for i in range(int((end - begin) / pause))]


def lights(random: Random, seconds: float) -> list[Event]:
    """One source of Art-Net, and perhaps the same by sACN."""
    sender, hz, offset, out = random.choice(SENDERS), random.choice((2, 10, 30)), random.choice((0, 1, None)), list[Event]()
    universes, still, first = range(random.randint(1, 6)), random.random() < 0.3, random.randrange(3)
    for i, when in enumerate(times(random, seconds, 1 / hz)):
        for number in universes:
            slots = shown(random, number + first, 0 if still else i)
            if random.random() < 0.5:
                packet = artnet(sender, levels(number + first, slots))
            else:
                packet = frames.artdmx(sender, number + first, random.choice((7, i % 255 + 1)), slots)
            out.append(Heard(when, packet))
            if offset is not None:
                out.append(Heard(when + 5_000_000, frames.e131(sender, number + first + offset or 1, i, slots)))
    return out


def words(random: Random, seconds: float) -> list[Event]:
    """Polls, replies, sync and ARP."""
    out: list[Event] = [
        Heard(when, poll(random.choice(SENDERS), random.choice((0, 0, 0x20)))) for when in times(random, seconds, 3)
    ]
    for node in NODES[: random.randint(1, 4)]:
        to = random.choice((DESK, "255.255.255.255"))
        said = reply(
            node, [random.randrange(20)], address=random.choice((None, None, "2.0.0.1")), good=random.choice((0, FED, MERGING)),
            short=random.choice((None, "node")), long=random.choice((None, "node")), to=to,
        )  # fmt: skip
        out += [Heard(when, said) for when in times(random, seconds, 3)]
    for box in (*SENDERS, *NODES):
        if random.random() < 0.6:
            out += [Heard(when, frames.announce(box)) for when in times(random, seconds, random.choice((1, 5, 13)))]
    for sender in SENDERS:
        if random.random() < 0.4:
            out += [Heard(when, sync(sender)) for when in times(random, seconds, 0.1)]
    return out


@pytest.mark.parametrize("seed", range(5))
def test_any_cut_gives_the_same(seed: int) -> None:
    random = Random(seed)
    seconds = random.choice((12.0, 25.0, 45.0))
    parts = [lights(random, seconds) for _ in range(random.randint(1, 3))] + [words(random, seconds)]
    events: list[Event] = sorted((event for part in parts for event in part), key=lambda event: event.time)
    vantage, ports = random.choice((None, "mirror", "ordinary")), (Port("eth0", 1),)
    told = picture(play(events, ports, vantage=vantage))
    places = {random.randrange(len(events)) for _ in range(random.choice((3, 60)))}
    for cut in (lambda place: place in places, singly if len(events) < 1_500 else lambda place: place % 5 == 2):
        assert not difference(told, picture(play(events, ports, vantage=vantage, cut=cut)))
    with patch("netwatch.story.play._MOST_CELLS", 1):
        assert not difference(told, picture(play(events, ports, vantage=vantage)))
