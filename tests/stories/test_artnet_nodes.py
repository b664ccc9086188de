"""Stories of what Art-Net nodes say: R2, R3, R4, R7, R9. Replies by Art-Net 4 (1.4di) p.24, levels by stupidArtnet."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.stories import frames
from tests.stories.artnet_frames import FED, FOLLOWS_E131, light, poll, reply
from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, ORCHARD, POND, WALK
from tests.stories.script import at, every, expect, expect_silent, listening, quiet, story

NODES = (WALK, POND, ORCHARD, BOATHOUSE)
CODES = ("artnet-off-by-one", "artnet-number-mixed-up", "poll-unanswered", "reply-address-wrong", "same-node-name")


def answers(*replies: bytes, start: float = 0.2, stop: float = 30) -> list:
    """Polls every 3 s, and these replies to each."""
    return [*every(3, poll(DESK), start=start, stop=stop), *every(3, *replies, start=start + 0.3, stop=stop)]


# ---- R2 ----


def test_sender_counts_from_one() -> None:
    told = story(
        listening("ordinary"),
        answers(*(reply(node, [4 * i]) for i, node in enumerate(NODES))),
        light(DESK, [1, 5, 9, 13], 2, stop=30),
        expect(
            "artnet-off-by-one",
            severity="now",
            certainty="likely",
            subject="rig",
            opened=(10, 25),
            closed=None,
            facts={"way": "one less", "sent": [1, 5, 9, 13], "wanted": [0, 4, 8, 12], "who": None, "nodes": 4},
        ),
        expect_silent("artnet-number-mixed-up"),
    )
    titles = {each.code: each.title for each in told.alerts}
    assert titles["artnet-off-by-one"] == "4 nodes listen one lower than what is sent by Art-Net"


def test_a_row_that_misses_at_its_ends_is_a_hint() -> None:
    story(
        listening("mirror"),
        answers(reply(WALK, [0, 1, 2, 3], to=DESK)),
        light(DESK, [1, 2, 3, 4], 2, stop=30, to=WALK),
        expect(
            "artnet-off-by-one", severity="quality", certainty="hint", subject=f"host:{WALK.mac}", facts={"who": "lantern walk"}
        ),
    )


def test_numbers_that_meet() -> None:
    story(
        listening("ordinary"),
        answers(*(reply(node, [4 * i]) for i, node in enumerate(NODES))),
        light(DESK, [0, 4, 8, 12], 2, stop=30),
        expect_silent(),
        expect_silent(*CODES),
    )


def test_spare_node_beside_a_row() -> None:
    story(
        listening("ordinary"),
        answers(reply(WALK, [0, 1, 2, 3]), reply(POND, [8])),
        light(DESK, range(8), 2, stop=30),
        expect_silent(),
        expect_silent(*CODES),
    )


@pytest.mark.parametrize("good", [FED, FOLLOWS_E131])
def test_node_that_is_fed_otherwise(good: int) -> None:
    """Its light is not seen from here, or it follows the other protocol."""
    story(
        listening("ordinary"),
        answers(reply(WALK, [0], good=good)),
        light(DESK, [1], 2, stop=30),
        expect_silent(),
        expect_silent(*CODES),
    )


# ---- R7 ----


def test_sub_net_forgotten() -> None:
    story(
        listening("ordinary"),
        answers(*(reply(node, [i]) for i, node in enumerate(NODES))),
        light(DESK, [16, 17, 18, 19], 2, stop=30),
        expect("artnet-number-mixed-up", severity="now", certainty="likely", facts={"way": "low four bits"}),
        expect_silent("artnet-off-by-one"),
    )


def test_net_and_sub_net_exchanged() -> None:
    story(
        listening("mirror"),
        answers(reply(WALK, [0x10, 0x11], to=DESK)),
        light(DESK, [0x100, 0x101], 2, stop=30, to=WALK),
        expect("artnet-number-mixed-up", severity="now", subject=f"host:{WALK.mac}", facts={"way": "swapped"}),
    )


def test_desk_that_counts_in_one_row() -> None:
    story(
        listening("ordinary"),
        answers(reply(WALK, [14, 15]), reply(POND, [16, 17])),
        light(DESK, [14, 15, 16, 17], 2, stop=30),
        expect_silent(),
        expect_silent(*CODES),
    )


# ---- R3 ----


def test_node_goes_dumb_while_its_box_lives() -> None:
    story(
        listening("mirror"),
        every(3, poll(DESK), stop=50),
        every(3, reply(WALK, [0], to=DESK), start=0.4, stop=20),
        every(5, frames.announce(WALK), start=1, stop=50),
        expect("poll-unanswered", severity="soon", certainty="likely", subject=f"host:{WALK.mac}", opened=(30, 31), closed=None),
    )


def test_node_whose_answers_went_to_all() -> None:
    story(
        listening("ordinary"),
        every(3, poll(DESK), stop=50),
        every(3, reply(WALK, [0]), start=0.4, stop=20),
        every(5, frames.announce(WALK), start=1, stop=50),
        expect("poll-unanswered", severity="quality", certainty="hint"),
    )


def test_we_ask_ourselves() -> None:
    from tests.stories.boxes import LAPTOP

    story(
        listening("ordinary"),
        every(3, poll(LAPTOP), stop=40),
        every(3, reply(WALK, [0], to=LAPTOP), start=0.4, stop=5),
        every(5, frames.announce(WALK), start=1, stop=40),
        expect("poll-unanswered", severity="soon", certainty="certain", facts={"ours": True}),
    )


def test_answers_go_to_the_poller_alone() -> None:
    """One reply to all at power-up, then unicast that an ordinary port doesn't show (Art-Net 4 p.15)."""
    story(
        listening("ordinary"),
        every(3, poll(DESK), stop=60),
        at(1, reply(WALK, [0])),
        every(5, frames.announce(WALK), stop=60),
        expect_silent("poll-unanswered"),
        expect_silent(),
    )


def test_targeted_polls_and_a_box_that_is_off() -> None:
    story(
        listening("mirror"),
        every(3, poll(DESK), stop=20),
        every(3, poll(DESK, 0x20), start=20, stop=60),
        every(3, reply(WALK, [0], to=DESK), start=0.4, stop=20),
        every(5, frames.announce(WALK), stop=60),
        expect_silent("poll-unanswered"),
    )
    story(
        listening("mirror"),
        every(3, poll(DESK), stop=60),
        every(3, reply(WALK, [0], to=DESK), start=0.4, stop=20),
        every(5, frames.announce(WALK), stop=20),
        expect_silent("poll-unanswered"),
    )


# ---- R4 ----


def test_reply_with_a_wrong_address() -> None:
    story(
        listening("ordinary"),
        answers(reply(WALK, [0], address="2.11.4.9")),
        expect(
            "reply-address-wrong",
            severity="soon",
            certainty="certain",
            subject=f"host:{WALK.mac}",
            opened=(3, 5),
            closed=None,
            facts={"told": "2.11.4.9", "address": WALK.address},
        ),
    )


def test_reply_without_an_address() -> None:
    story(
        listening("mirror"),
        answers(reply(WALK, [0], address="0.0.0.0", to=DESK)),
        expect("reply-address-wrong", severity="now", certainty="certain", facts={"told": "0.0.0.0"}),
    )


def test_box_that_answers_for_others() -> None:
    others = [reply(WALK, [i], address=node.address, node_mac=node.mac, short=node.name) for i, node in enumerate(NODES)]
    story(listening("ordinary"), answers(*others), expect_silent("reply-address-wrong", "same-node-name"), expect_silent())


def test_address_that_just_changed() -> None:
    story(
        listening("ordinary"),
        at(1, reply(WALK, [0], address="10.0.0.200")),
        every(3, reply(WALK, [0]), start=3, stop=30),
        quiet(10),
        expect_silent("reply-address-wrong"),
    )


# ---- R9 ----


def test_factory_names() -> None:
    called = [reply(node, [i], short="node", long="a node") for i, node in enumerate(NODES)]
    story(
        listening("ordinary"),
        answers(*called),
        expect("same-node-name", severity="tidy", certainty="certain", subject="rig", facts={"boxes": 4, "names": ["a node"]}),
        expect_silent(),
    )


def test_two_names_twice_are_one_line() -> None:
    called = [reply(node, [i], short="node", long=f"side {i % 2}") for i, node in enumerate(NODES)]
    story(listening("mirror"), answers(*called), expect("same-node-name", facts={"boxes": 4, "names": ["side 0", "side 1"]}))


def test_answers_of_one_box() -> None:
    """One for each bind, and one of its second address."""
    binds = [reply(WALK, [i], bind=i + 1, short="node") for i in range(4)]
    second = replace(WALK, address="10.0.0.121")
    story(listening("ordinary"), answers(*binds, reply(second, [5], short="node")), expect_silent(*CODES), expect_silent())


def test_port_names_are_no_box_names() -> None:
    """The short name is a port's in Art-Net 4 (p.26): only both names together name a box."""
    story(
        listening("ordinary"),
        answers(*(reply(node, [i], short="Port 1") for i, node in enumerate((DESK, BACKUP, WALK)))),
        expect_silent(*CODES),
    )
