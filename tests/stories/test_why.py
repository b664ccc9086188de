"""Stories of 'what do you see': the way of one universe.

Frames by E1.31-2018, Art-Net 4, RFC 2236 and RFC 9776; the words are the project's own.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from netwatch.alerts.catalogue import RULES
from netwatch.report.why import render
from netwatch.story.snapshot import Why
from netwatch.story.why import Asked, why
from netwatch.words.sees import ADDRESSES, BEHIND, LAPTOP, NODE, RIG, SEES, SWITCH, sees, station
from tests.stories import frames
from tests.stories.artnet_frames import light, poll, reply
from tests.stories.boxes import BACKUP, DESK, POND, WALK
from tests.stories.boxes import LAPTOP as US
from tests.stories.boxes import SWITCH as CORE
from tests.stories.playing import picture, play
from tests.stories.script import at, every, listening, stream

LIT = bytes(11) + bytes([204]) + bytes(500)
"""DMX channel 12 at 80 %."""
OTHERS = [*every(4, frames.announce(WALK), stop=20), *every(7, frames.announce(POND), stop=20)]
LATER = [*every(4, frames.announce(WALK), start=20, stop=60), *every(7, frames.announce(POND), start=20, stop=60)]


def ask(asked: Asked, *lines: object, where: str = "mirror", laptop: object = US) -> Why:
    events = sorted((event for line in lines for event in line), key=lambda event: event.time)
    player = play(events, listening(where, laptop).ports, vantage=where)
    return why(player, picture(player), asked, lambda at: "then")


def states(told: Why) -> list[str]:
    return [each.state for each in told.stations]


def text(told: Why, name: str) -> str:
    return " ".join(next(each for each in told.stations if each.name == name).texts)


def test_it_acquits():
    told = ask(Asked("e131", 7), OTHERS, stream(7, hz=44, stop=30, levels=LIT))
    assert told.verdict == (
        "Universe 7 is sent 44 times a second, channel 12 at 80 %. "
        "Look behind the node: its output, the DMX line, the fixture's address and mode."
    )
    assert states(told) == ["FINE", "FINE", "FINE", "CAN'T SEE", "CAN'T SEE"]
    sends = "gatehouse desk (10.0.0.10) sends it 44 times a second at priority 100, 512 channels, 1 of them lit."
    assert text(told, "sender").startswith(sends)


@pytest.mark.parametrize(("see", "state"), [("dark", "WRONG"), (None, "FINE")])
def test_it_is_sent_and_it_is_black(see, state):
    told = ask(Asked("e131", 7, see), OTHERS, stream(7, stop=30))
    assert told.stations[0].state == state
    assert told.verdict.startswith("Universe 7 is sent, and it is black")


def test_an_old_look():
    told = ask(Asked("e131", 7, "frozen"), OTHERS, stream(7, stop=20, levels=lambda i: LIT if i > 200 else bytes(512)))
    assert told.verdict.startswith("Universe 7 is sent 40 times a second, but its levels have stood still since then")


def test_a_fight_is_found_under_its_phrase_only():
    lines = (OTHERS, stream(7, stop=30, levels=LIT), stream(7, BACKUP, stop=30, levels=LIT[::-1].replace(b"\0", b"\1")))
    fights = ask(Asked("e131", 7, "fights"), *lines)
    assert fights.stations[0].state == "WRONG"
    assert fights.verdict.startswith("Look at the sender: ")
    assert ask(Asked("e131", 7, "one-off"), *lines).stations[0].state == "FINE"
    assert ask(Asked("e131", 8), *lines).stations == ()


def test_a_sender_that_is_gone():
    lines = (OTHERS, LATER, stream(7, stop=20, levels=LIT), stream(2, POND, stop=60))
    told = ask(Asked("e131", 7, "dark"), *lines)
    assert told.stations[0].state == "WRONG"
    assert told.verdict.startswith("Look at the sender: ")
    assert "gatehouse desk" in text(told, "sender")


def lost_querier():
    """Its interval is 20 s by its own word; the light goes 49 s after its last question."""
    seconds = range(1, 101, 20)
    return [
        *(event for each in seconds for event in at(each, frames.query(CORE, version=3, interval=20))),
        *(event for each in seconds for event in at(each + 1, frames.report(US, frames.universe_group(1)))),
        *stream(1, hz=2, stop=130, levels=LIT),
        *light(DESK, [6], 2, stop=170, shown=lambda universe, i: LIT),
    ]


def test_a_switch_that_dropped_it_is_the_switch_and_no_word_against_the_sender():
    told = ask(Asked("e131", 1, "dark"), lost_querier(), where="ordinary")
    assert states(told)[:2] == ["CAN'T SEE", "WRONG"]
    assert told.verdict.startswith("Look at the switch: 10.0.0.254 has stopped keeping multicast alive")


def test_trouble_of_multicast_is_none_of_art_net():
    told = ask(Asked("artnet", 6, "dark"), lost_querier(), where="ordinary")
    assert states(told)[:2] == ["FINE", "FINE"]
    assert told.verdict.startswith("Art-Net universe 0.0.6 (6) is sent 2 times a second, channel 12 at 80 %.")


def test_an_address_is_the_nodes_affair_unless_it_is_the_senders():
    twice = [*every(3, frames.announce(POND.at(DESK.address)), stop=20), *every(3, frames.announce(DESK), start=1, stop=20)]
    mine = ask(Asked("e131", 7, "not-found"), OTHERS, twice, stream(7, stop=20, levels=LIT))
    assert [mine.stations[0].state, mine.stations[3].state] == ["WRONG", "CAN'T SEE"]
    twice = [*every(3, frames.announce(POND.at(WALK.address)), stop=20), *every(3, frames.announce(WALK), start=1, stop=20)]
    other = ask(Asked("e131", 7, "not-found"), OTHERS, twice, stream(7, stop=20, levels=LIT))
    assert [other.stations[0].state, other.stations[3].state] == ["FINE", "WRONG"]


def test_a_glimmer_is_not_nothing():
    told = ask(Asked("e131", 7), OTHERS, stream(7, stop=20, levels=LIT.replace(b"\xcc", b"\1")))
    assert "channel 12 at under 1 %" in told.verdict


def test_preview_and_goodbye():
    assert "preview only" in ask(Asked("e131", 7), OTHERS, stream(7, stop=20, levels=LIT, options=0x80)).verdict
    assert "signed off" in ask(Asked("e131", 7), OTHERS, stream(7, stop=19, levels=LIT, goodbye=True)).verdict


def test_who_asked_for_it_is_named_and_we_are_not():
    group = frames.universe_group(7)
    asks = [*at(1, frames.report(WALK, group)), *at(2, frames.report(US, group))]
    told = ask(Asked("e131", 7), OTHERS, asks, stream(7, stop=20, levels=LIT))
    assert text(told, "node").startswith(f"{WALK.address} asked for it.")
    assert "1 box asked" in text(told, "switch")


@pytest.mark.parametrize(
    ("good", "state", "says"), [(0x80, "FINE", "that it puts it out"), (0, "WRONG", "that it has nothing to put out")]
)
def test_the_nodes_own_word(good, state, says):
    """GoodOutputA bit 7: data is put out (Art-Net 4 p.28)."""
    told = ask(
        Asked("artnet", 6), every(3, poll(DESK), stop=20), every(3, reply(WALK, [6], good=good), start=0.1, stop=20),
        light(DESK, [6], stop=20, shown=lambda universe, i: LIT),
    )  # fmt: skip
    assert told.stations[3].state == state
    assert says in text(told, "node")
    assert ("Look at the node" in told.verdict) is (state == "WRONG")


def test_on_an_ordinary_port_what_is_not_heard_is_no_proof():
    told = ask(Asked("e131", 7), OTHERS, at(1, frames.report(WALK, frames.universe_group(7))), where="ordinary")
    assert told.stations[0].state == "CAN'T SEE"
    assert told.verdict.startswith("From here it can't be said whether universe 7 is sent")


def test_nothing_known_is_one_sentence():
    told = ask(Asked("artnet", 6), OTHERS, stream(1, stop=5))
    assert told.stations == ()
    assert told.verdict == (
        "Nothing was heard of Art-Net universe 0.0.6 (6): no sender, no request, no node. What was heard: universe 1."
    )


@pytest.mark.parametrize("width", [40, 80])
def test_it_fits_the_terminal(width):
    lines = (OTHERS, stream(7, stop=30, levels=LIT), stream(7, BACKUP, stop=30, levels=LIT[::-1]))
    events = sorted((event for line in lines for event in line), key=lambda event: event.time)
    player = play(events)
    told = replace(picture(player), why=why(player, picture(player), Asked("e131", 7, "fights"), str))
    shown = render(told, (), width=width)
    assert max(map(len, shown.splitlines())) <= width
    assert shown.startswith("What happens to universe 7: two looks")


def test_the_declarations_name_what_there_is():
    """Every code that has phrases is a rule's, every phrase has codes, and what is not declared is shown with any phrase."""
    named = {*BEHIND, *SWITCH, *NODE, *ADDRESSES, *LAPTOP, *RIG["e131"], *RIG["artnet"]}
    assert named <= set(RULES)
    assert {see for phrases in BEHIND.values() for see in phrases} == set(SEES)
    assert all(phrases and len(set(phrases)) == len(phrases) for phrases in BEHIND.values())
    assert sees("of-a-newer-version") == tuple(SEES)
    assert [station(code) for code in ("multicast-dropped", "capture-dropping", "poll-unanswered", "source-lost")] == [
        "switch", "laptop", "node", "sender",
    ]  # fmt: skip
