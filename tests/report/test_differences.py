"""Two sessions compared. The frames are those of the standards that ``tests.stories.frames`` names; what counts as how grave is
our own: common practice, no source."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import pytest

from netwatch.numbers import DEFAULTS
from netwatch.report.compared import Compared, data, render
from netwatch.report.differences import Difference, caveats, differences
from netwatch.story.evening import Evening
from netwatch.words import compare as words
from netwatch.words.phrases import plain
from tests.stories import frames
from tests.stories.artnet_frames import reply
from tests.stories.boxes import BACKUP, DESK, ORCHARD, POND, SERVER, STRANGER, SWITCH, WALK, Box
from tests.stories.playing import NS, START, Heard, play
from tests.stories.rigs import PORTS, damaged, rig
from tests.stories.script import every, stream

LONG = 400


def light(
    source: Box, universes: Sequence[int], *, every: float = 1.0, priority: int = 100, lasts: float = LONG, lose: int = 0
) -> Iterator[Heard]:
    """Universes at a steady rate; of each 100 packets ``lose`` do not arrive."""
    for i in range(int(lasts / every)):
        if i % 100 >= lose:
            for universe in universes:
                yield Heard(START + round(i * every * NS), frames.e131(source, universe, i, priority=priority))


def asks(querier: Box = SWITCH, *, version: int = 2, every: int = 125, lasts: int = LONG) -> Iterator[Heard]:
    """General queries (RFC 2236 3)."""
    for second in range(3, lasts, every):
        yield Heard(START + second * NS, frames.query(querier, version=version, interval=every))


def serves(server: Box, client: Box, address: str) -> Iterator[Heard]:
    """DISCOVER, OFFER, REQUEST, ACK (RFC 2131 3.1)."""
    for i, message in enumerate((1, 2, 3, 5)):
        by = server if message in (2, 5) else None
        made = frames.dhcp(message, client, server=server.address if message != 1 else "", yiaddr=address if by else "",
                           requested=address if message == 3 else "", mask="255.255.255.0", lease=3600, by=by)  # fmt: skip
        yield Heard(START + (5 * NS) + i * NS // 10, made)


def here(*boxes: Box) -> Iterator[Heard]:
    """They tell their address each minute (RFC 5227 2.3)."""
    for second in range(1, LONG, 60):
        for box in boxes:
            yield Heard(START + second * NS, frames.announce(box))


def day(*parts: Iterable[Heard], vantage: str = "mirror") -> Evening:
    """A session that heard all of this."""
    player = play(sorted((each for part in parts for each in part), key=lambda each: each.time), vantage=vantage)
    snapshot = player.snapshot()
    return Evening(snapshot, [], player.course.view(player.network, snapshot.now))


def usual() -> list[Iterable[Heard]]:
    """What is alike on both days."""
    return [light(DESK, (1, 2, 3)), asks(), here(WALK, POND), serves(SERVER, WALK, WALK.address)]


def told(a: Evening, b: Evening) -> list[Difference]:
    return differences(a, b, DEFAULTS)


def kinds(a: Evening, b: Evening) -> list[tuple[str, str]]:
    return [(each.severity, each.what) for each in told(a, b)]


USUAL = day(*usual())


def test_nothing_differs_from_itself_and_it_says_so() -> None:
    assert told(USUAL, USUAL) == []
    assert caveats(USUAL, USUAL, DEFAULTS) == []
    assert words.NOTHING.split(":")[0] in render(Compared.of(USUAL, USUAL, ["x", "y"], DEFAULTS), colour=False, width=80)


def test_boxes_that_are_new_or_missing() -> None:
    other = day(light(DESK, (1, 2, 3)), asks(), here(WALK, ORCHARD), serves(SERVER, WALK, WALK.address))
    assert kinds(USUAL, other) == [("quality", "box-missing"), ("note", "box-new")]
    missing, new = (each.text for each in told(USUAL, other))
    assert [missing, new] == [f"10.0.0.22 (MAC {POND.mac}) is in A only.", f"10.0.0.23 (MAC {ORCHARD.mac}) is in B only."]


def test_a_box_that_moved_and_one_that_was_changed() -> None:
    moved = day(*usual()[:2], here(WALK, POND.at("10.0.0.122")), usual()[3])
    assert kinds(USUAL, moved) == [("quality", "box-moved")]
    assert told(USUAL, moved)[0].text == (
        f"MAC {POND.mac} had the address 10.0.0.22 in A and has 10.0.0.122 in B."
    )
    changed = day(*usual()[:2], here(WALK, POND.card("02:00:00:00:00:77")), usual()[3])
    assert kinds(USUAL, changed) == [("quality", "box-changed")]


def test_another_dhcp_server_stands_above_all_that_is_less_grave() -> None:
    other = day(*usual(), serves(STRANGER, ORCHARD, "192.168.77.50"))
    found = told(USUAL, other)
    assert found[0].severity == "soon"
    assert found[0].text == "Another DHCP server in B: 192.168.77.1 hands out addresses, beside 10.0.0.1."
    worst_first = ["now", "soon", "quality", "tidy", "note"]
    assert [each.severity for each in found] == sorted((each.severity for each in found), key=worst_first.index)


def test_nobody_keeps_multicast_alive_any_more() -> None:
    """Twice its interval has to pass in silence (RFC 9776 8.2: 125 s)."""
    silent = day(usual()[0], *usual()[2:])
    assert ("soon", "querier-missing") in kinds(USUAL, silent)
    brief = day(light(DESK, (1, 2, 3), lasts=60), here(WALK, POND), usual()[3])
    (missing,) = [each for each in told(USUAL, replace(brief, snapshot=replace(brief.snapshot, last=START + 60 * NS)))
                  if each.what == "querier-missing"]  # fmt: skip
    assert (missing.severity, missing.facts["unsure"]) == ("note", "B")


def test_a_querier_that_asks_otherwise() -> None:
    other = day(usual()[0], asks(version=3, every=60), *usual()[2:])
    assert {what for _, what in kinds(USUAL, other)} == {"querier-version", "querier-interval"}


def test_sources_universes_and_priorities() -> None:
    other = day(light(DESK, (1, 2), priority=90), light(BACKUP, (2,), priority=90), *usual()[1:])
    found = {each.what: each for each in told(USUAL, other)}
    assert found["source-new"].severity == "soon"
    assert "sends universe 2 too, at the same priority" in found["source-new"].text
    assert found["universes-missing"].facts["universes"] == [3]
    assert found["priority"].text == (
        "Gatehouse desk (10.0.0.10) sends universes 1-2 at priority 90 in B, at 100 in A; "
        "gatehouse backup (10.0.0.11) sends there too."
    )
    assert "box-new" not in found, "the backup is told of once"


def test_a_source_that_is_gone_and_one_that_took_its_place() -> None:
    other = day(light(BACKUP, (1, 2, 3)), *usual()[1:])
    found = told(USUAL, other)
    assert found[0].text == (
        "Gatehouse desk (10.0.0.10) sent universes 1-3 in A and sends nothing in B; gatehouse backup (10.0.0.11) sends that in B."
    )


def test_rates_and_losses() -> None:
    fast, slow = day(light(DESK, (1,), every=1 / 40, lasts=60)), day(light(DESK, (1,), every=1 / 20, lasts=60))
    (rate,) = told(fast, slow)
    assert (rate.what, rate.severity, round(rate.facts["before"]), round(rate.facts["after"])) == ("rate", "note", 40, 20)
    lossy = day(light(DESK, (1,), every=1 / 40, lasts=60, lose=5))
    (loss,) = [each for each in told(fast, lossy) if each.what == "loss"]
    assert loss.severity == "quality"
    assert loss.facts["after"] == pytest.approx(0.05, abs=0.003)


def test_what_a_poorer_place_can_not_hear_is_only_a_note() -> None:
    """A silence on an ordinary port proves nothing about answers to others, nor about light that was not asked for."""
    poor = day(light(DESK, (1,)), vantage="ordinary")
    assert {each.severity for each in told(USUAL, poor)} == {"note"}
    assert any("a mirror port" in each and "an ordinary port" in each for each in caveats(USUAL, poor, DEFAULTS))


def test_a_node_that_puts_out_other_universes() -> None:
    def node(*universes: int) -> Iterator[Heard]:
        for second in range(0, LONG, 3):
            made = reply(POND, outputs=universes)
            yield Heard(START + second * NS, made)

    found = told(day(node(1, 2)), day(node(1, 3)))
    (one,) = found
    assert (one.severity, one.what, one.facts["more"], one.facts["less"]) == ("soon", "outputs", [3], [2])


def test_peoples_own_devices_are_counted_not_named() -> None:
    phone = Box("anna", "da:12:34:56:78:9a", "10.0.0.200")
    other = day(*usual(), here(phone))
    (found,) = told(USUAL, other)
    assert (found.what, found.facts["before"], found.facts["after"]) == ("people", 0, 1)
    assert phone.mac not in json.dumps(data(Compared.of(USUAL, other, ["x", "y"], DEFAULTS)))


def test_two_other_rigs_are_told_as_such() -> None:
    assert words.NO_COMMON_BOX in caveats(day(here(WALK)), day(here(POND.at("10.9.9.9"))), DEFAULTS)


@pytest.mark.parametrize("width", [40, 80, 110])
def test_no_line_is_wider_than_the_terminal_and_no_name_moves_the_layout(width: int) -> None:
    hostile = replace(BACKUP, name="x\x1b[31m\n\u202e" + "y" * 50)
    compared = Compared.of(USUAL, day(*usual(), light(hostile, (9,))), ["a\n", "b"], DEFAULTS)
    text = render(compared, colour=False, width=width)
    assert max(map(len, text.splitlines())) <= width
    assert "\x1b" not in text
    assert all(line == plain(line) or line.startswith(" ") or "  " in line for line in text.splitlines())


def test_every_kind_has_its_words() -> None:
    """All kinds are brought about, each is a whole sentence."""
    node, other = every_node(1), every_node(2)
    newer = replace(other.snapshot, nodes=tuple(replace(each, firmware=(0x0107, 0x0108)) for each in other.snapshot.nodes))
    asked, asks_else = (day(every(30, frames.report(POND, frames.universe_group(each)), stop=LONG)) for each in (1, 2))
    named = (light(Box(name, BACKUP.mac, BACKUP.address), (5,)) for name in ("old name", "new name"))
    pairs = [
        (USUAL, day(*usual()[:2], here(ORCHARD, POND.at("10.0.0.122"), WALK.card("02:00:00:00:00:77")))),
        (USUAL, day(*usual(), serves(STRANGER, ORCHARD, "192.168.77.50"))),
        (USUAL, day(*usual()[:3], serves(SERVER.card("02:00:00:00:00:78"), WALK, WALK.address))),
        (USUAL, day(light(BACKUP, (1, 2)), asks(BACKUP, version=3, every=60))),
        (USUAL, day(light(DESK, (1, 9), priority=90), asks(version=3, every=60))),
        (day(light(DESK, (1,), every=1 / 40, lasts=60)), day(light(DESK, (1,), every=1 / 20, lasts=60, lose=20))),
        (USUAL, day(stream(1, BACKUP, hz=1, stop=LONG, name=DESK.name))),
        (USUAL, day(*usual(), here(Box("anna", "da:12:34:56:78:9a", "10.0.0.200")))),
        (day(next(named)), day(next(named))), (node, replace(other, snapshot=newer)), (asked, asks_else),
    ]  # fmt: skip
    both = [each for a, b in pairs for one, two in ((a, b), (b, a)) for each in told(one, two)]
    assert {each.what for each in both} == set(words.KINDS)
    assert all(each.text.endswith(".") and "  " not in each.text and "None" not in each.text for each in both)


def every_node(*universes: int) -> Evening:
    """A node that answers polls."""
    return day(every(3, reply(POND, outputs=universes), stop=LONG))


@pytest.mark.parametrize("seed", range(1, 7))
def test_any_rig_is_alike_to_itself_and_any_two_can_be_compared(seed: int) -> None:
    """Each second one with packets that are damaged."""
    players = [play(rig(each) if each % 2 else damaged(rig(each), each), PORTS) for each in (seed, seed + 1)]
    shots = [(player.snapshot(), player) for player in players]
    a, b = (Evening(shot, [], player.course.view(player.network, shot.now)) for shot, player in shots)
    assert told(a, a) == []
    compared = Compared.of(a, b, ["a", "b"], DEFAULTS)
    assert max(map(len, render(compared, colour=False, width=60).splitlines())) <= 60
    json.dumps(data(compared), allow_nan=False)
