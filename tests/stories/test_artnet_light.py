"""Stories of Art-Net's light: R5, R6, R8. Levels and sync by stupidArtnet; counted packets by Art-Net 4 (1.4di) p.60."""

from __future__ import annotations

from dataclasses import replace

from tests.stories import frames
from tests.stories.artnet_frames import MERGING, light, poll, reply, sync
from tests.stories.boxes import BACKUP, DESK, LAPTOP, POND, WALK
from tests.stories.playing import Heard
from tests.stories.script import artnet, every, expect, expect_silent, listening, ns, quiet, story

FULL, HALF = bytes([255] * 512), bytes([128] * 512)


def left(universe: int, i: int) -> bytes:
    return bytes([200] * 100).ljust(512, b"\0")


def right(universe: int, i: int) -> bytes:
    return (bytes(100) + bytes([150] * 100)).ljust(512, b"\0")


def moving(universe: int, i: int) -> bytes:
    return bytes((slot + 3 * i + universe) % 250 + 1 for slot in range(512))


def other(universe: int, i: int) -> bytes:
    return bytes((7 * slot + 5 * i) % 250 + 1 for slot in range(512))


# ---- R5 ----


def test_two_desks_disagree() -> None:
    story(
        listening("ordinary"),
        light(DESK, [3], 10, stop=20, shown=lambda u, i: FULL),
        light(BACKUP, [3], 10, 5, 20, shown=lambda u, i: HALF),
        expect(
            "controllers-merging",
            severity="now",
            certainty="certain",
            subject="universe:3",
            opened=(8, 12),
            closed=None,
            facts={"sources": 2, "channels": 512},
        ),
    )


def test_two_desks_that_move() -> None:
    story(
        listening("ordinary"),
        light(DESK, [3], 40, stop=20, shown=moving),
        light(BACKUP, [3], 40, 5, 20, shown=other),
        expect("controllers-merging", severity="now", opened=(8, 12)),
    )


def test_one_address_with_two_inputs() -> None:
    second = replace(DESK, physical=1)
    story(
        listening("mirror"),
        artnet(3, DESK, 10, stop=20, levels=FULL, to=WALK),
        artnet(3, second, 10, stop=20, levels=HALF, to=WALK),
        expect("controllers-merging", severity="now", facts={"sources": 2}),
    )


def test_third_is_ignored() -> None:
    story(
        listening("ordinary"),
        light(DESK, [3], 10, stop=20, shown=left),
        light(BACKUP, [3], 10, stop=20, shown=right),
        light(POND, [3], 40, stop=20, shown=moving),
        expect("controllers-merging", severity="now", facts={"sources": 3}),
    )


def test_node_says_that_it_merges() -> None:
    story(
        listening("ordinary"),
        every(3, poll(DESK), stop=20),
        every(3, reply(WALK, [3], good=MERGING), start=0.5, stop=20),
        expect(
            "controllers-merging", severity="quality", certainty="likely", subject="universe:3", facts={"nodes": ["lantern walk"]}
        ),
        expect_silent(),
    )


def test_merging_on_purpose_is_a_note() -> None:
    """Different DMX channels; the same light, also while it moves."""
    story(
        listening("ordinary"),
        light(DESK, [3], 10, stop=20, shown=left),
        light(BACKUP, [3], 10, stop=20, shown=right),
        expect("controllers-merging", severity="note"),
        expect_silent(),
    )
    late = [Heard(each.time + 4_000_000, each.frame) for each in light(BACKUP, [3], 40, stop=20, shown=moving)]
    story(
        listening("ordinary"),
        light(DESK, [3], 40, stop=20, shown=moving),
        late,
        expect("controllers-merging", severity="note", facts={"agree": True}),
        expect_silent(),
    )


def test_controller_moves_to_a_new_address() -> None:
    story(
        listening("ordinary"),
        light(DESK, [3], 10, stop=20, shown=lambda u, i: FULL),
        light(DESK.at("10.0.0.77"), [3], 10, 18, 40, shown=lambda u, i: HALF),
        expect_silent("controllers-merging"),
    )


def test_same_number_to_different_nodes_and_a_backup_that_polls() -> None:
    story(
        listening("mirror"),
        light(DESK, [3], 10, stop=20, to=WALK, shown=lambda u, i: FULL),
        light(BACKUP, [3], 10, stop=20, to=POND, shown=lambda u, i: HALF),
        every(3, poll(BACKUP), stop=20),
        expect_silent("controllers-merging"),
        expect_silent(),
    )


# ---- R6 ----


def test_number_stands_still() -> None:
    story(
        listening("ordinary"),
        artnet(3, DESK, 20, stop=35, step=0),
        expect("sequence-stuck", severity="note", certainty="certain", subject=f"address:{DESK.address}", facts={"number": 1}),
        expect_silent(),
    )


def test_number_stands_still_for_one_node() -> None:
    story(
        listening("ordinary"),
        artnet(3, DESK, 2, stop=60, step=0, to=LAPTOP),
        expect("sequence-stuck", severity="note", facts={"universes": [3]}),
    )


def test_number_zero_means_not_counted() -> None:
    story(listening("ordinary"), light(DESK, [3], 40, stop=25), expect_silent("sequence-stuck"))


def test_count_over_all_universes_and_copies() -> None:
    """Steps of 4; and each packet heard twice, as on a mirror port of both directions."""
    twice = [Heard(each.time + 30_000, each.frame) for each in artnet(9, DESK, 20, stop=25)]
    story(
        listening("mirror"),
        artnet(3, DESK, 40, stop=25, step=4),
        artnet(9, DESK, 20, stop=25),
        twice,
        expect_silent("sequence-stuck"),
    )


# ---- R8 ----


def test_two_send_sync() -> None:
    story(
        listening("ordinary"),
        light(DESK, [1], 20, stop=30),
        light(BACKUP, [2], 20, stop=30),
        every(0.05, sync(DESK), stop=30),
        every(0.05, sync(BACKUP), start=10, stop=30),
        expect(
            "artnet-sync-trouble", severity="quality", certainty="certain", subject="rig", opened=(14, 15), facts={"what": "two"}
        ),
    )


def test_sync_stops_and_light_goes_on() -> None:
    story(
        listening("ordinary"),
        light(DESK, [1], 20, stop=60),
        every(0.05, sync(DESK), stop=12),
        expect(
            "artnet-sync-trouble", severity="note", subject=f"address:{DESK.address}", opened=(16, 17), facts={"what": "stopped"}
        ),
    )


def test_sync_without_light() -> None:
    story(
        listening("mirror"),
        light(DESK, [1], 20, stop=40),
        every(0.1, sync(BACKUP), stop=40),
        expect("artnet-sync-trouble", severity="tidy", certainty="hint", facts={"what": "no light"}),
    )


def test_sync_as_it_should_be() -> None:
    """At frame rate; its light may be sent to one box alone, which an ordinary port doesn't show."""
    story(
        listening("ordinary"),
        light(DESK, [1], 20, stop=40),
        every(0.05, sync(DESK), stop=40),
        expect_silent("artnet-sync-trouble"),
    )
    story(listening("ordinary"), every(0.05, sync(DESK), stop=40), expect_silent("artnet-sync-trouble"))


def test_sync_is_handed_over_or_ends_with_its_light() -> None:
    story(
        listening("ordinary"),
        light(DESK, [1], 20, stop=20),
        light(BACKUP, [1], 20, 20, 50),
        every(0.05, sync(DESK), stop=20),
        every(0.05, sync(BACKUP), start=19, stop=50),
        quiet(5),
        expect_silent("artnet-sync-trouble"),
    )


def test_story_times() -> None:
    """Light of a list of universes comes at the stated second."""
    assert light(DESK, [0], 10, 5, 6)[0].time == ns(5)
    assert frames.artdmx(DESK, 0)[42:50] == b"Art-Net\0"
