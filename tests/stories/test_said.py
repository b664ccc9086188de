"""What a person says becomes part of the input: words, phases, known, mended. Our own; there is no published source."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import LATEST, Port
from netwatch.packets.files import open_captures
from netwatch.packets.keep import Keeper
from netwatch.report.text import render
from netwatch.story.document import document
from netwatch.story.play import Player
from netwatch.story.snapshot import AlertView, Snapshot
from netwatch.story.standing import standing
from tests.stories import frames
from tests.stories.boxes import DESK, POND, WALK
from tests.stories.playing import items, play
from tests.stories.script import at, every, listening, mark, ns, source, story, stream

MIRROR = listening("mirror")
OTHERS = stream(9, POND, hz=5, stop=60)
LOST: dict[str, Any] = {"code": "source-lost", "where": "eth0", "subject": source(DESK)}


def lost(told: Snapshot) -> list[AlertView]:
    return [each for each in told.alerts if each.code == "source-lost"]


# ---- a mark ----


def test_a_mark_stands_where_no_alert_told_of_it() -> None:
    told = story(MIRROR, stream(1, DESK, hz=10, stop=60), at(20, frames.announce(WALK)), mark(30, word="pond dark"))
    (word,) = told.marks
    assert (word.at, word.word, word.alerts) == (ns(30), "pond dark", ())
    assert document(told, ())["marks"][0]["word"] == "pond dark"
    text = render(told, ())
    assert "MARKED BY HAND" in text
    assert "pond dark" in text
    assert "No alert was open at that moment." in text


def test_a_mark_names_what_was_open_then_and_what_changed_before() -> None:
    told = story(
        MIRROR, OTHERS, stream(1, DESK, hz=10, stop=20), at(35, frames.announce(WALK)), mark(40, word="arch"),
        mark(15, word="before"),
    )  # fmt: skip
    before, arch = told.marks
    assert (before.alerts, arch.alerts) == ((), (lost(told)[0].id,))
    assert any("02:00:00:00:00:15" in each.text for each in arch.before)


def test_a_mark_is_stamped_when_the_key_was_pressed() -> None:
    """The word was typed for ten seconds; the fold time is that of Enter."""
    told = story(MIRROR, stream(1, DESK, hz=10, stop=60), mark(40, word="pond dark", at=ns(30)))
    assert told.marks[0].at == ns(30)
    assert [each.at for each in told.happenings if each.what == "word"] == [ns(30)]


def test_a_moment_that_cannot_be_is_when_the_word_came() -> None:
    marks = [mark(40, word="x", at=moment) for moment in (ns(-5), ns(90), "noon", True, None, 1 << 70)]
    told = story(MIRROR, stream(1, DESK, hz=10, stop=60), *marks)
    assert {each.at for each in told.marks} == {ns(40)}


def test_a_word_from_a_strangers_file_is_made_safe() -> None:
    told = story(MIRROR, stream(1, DESK, hz=10, stop=30), mark(10, word="\x1b[2J" + "x" * 400), mark(11, word={"a": 1}))
    assert all(each.word.isprintable() and len(each.word) <= 200 for each in told.marks)
    assert render(told, ()).replace("\n", "").isprintable()


# ---- known, and taken back ----


def test_known_is_off_the_top_from_then_on() -> None:
    told = story(MIRROR, OTHERS, stream(1, DESK, hz=10, stop=20), mark(30, known={**LOST, "why": "spare desk"}))
    assert standing(told)["known"] == 1
    assert lost(told)[0].accepted == {"at": ns(30), "until": None, "why": "spare desk", "worst": "now", "of": ["1"]}
    assert [each.what for each in told.happenings if each.alert == lost(told)[0].id] == ["opened", "accepted"]


def test_one_universe_more_brings_it_back() -> None:
    told = story(
        MIRROR, OTHERS, stream(1, DESK, hz=10, stop=20), stream(2, DESK, hz=10, stop=40),
        mark(30, known={**LOST, "why": "spare"}),
    )  # fmt: skip
    assert (lost(told)[0].accepted, lost(told)[0].facts["universes"]) == (None, [1, 2])


def test_known_for_a_time_only() -> None:
    told = story(MIRROR, OTHERS, stream(1, DESK, hz=10, stop=20), mark(30, known={**LOST, "until": ns(45)}))
    assert lost(told)[0].accepted is None
    assert [each.what for each in told.happenings if each.alert == lost(told)[0].id] == ["opened", "accepted", "changed"]


def test_known_for_a_time_of_another_century() -> None:
    """Any time that is one; 2116 had been the end of all (seen beside what fuzzing found)."""
    for until, taken in ((LATEST, LATEST), (LATEST + 1, None), (-1, None)):
        player = play([*stream(1, DESK, hz=10, stop=20), *mark(25, known={**LOST, "until": until})], vantage="mirror")
        assert [each.accepted.until for each in player.judge.engine.known()] == [taken]


def test_known_is_taken_back() -> None:
    told = story(MIRROR, OTHERS, stream(1, DESK, hz=10, stop=20), mark(30, known=LOST), mark(40, heed=LOST))
    assert lost(told)[0].accepted is None


def test_what_cannot_be_read_changes_nothing() -> None:
    odd: list[Any] = [
        7, [], {}, {"code": "source-lost"}, {**LOST, "code": "x"}, {**LOST, "where": 1}, {**LOST, "subject": None},
        {**LOST, "subject": "rig"},
    ]  # fmt: skip
    said = [event for i, each in enumerate(odd) for event in mark(30 + i / 10, known=each, heed=each, mended=each)]
    told = story(MIRROR, OTHERS, stream(1, DESK, hz=10, stop=20), said)
    assert (lost(told)[0].accepted, lost(told)[0].closed) == (None, None)


# ---- mended ----


def test_mended_and_it_is() -> None:
    told = story(
        MIRROR, OTHERS, stream(1, DESK, hz=10, stop=20), mark(30, mended=LOST), stream(1, DESK, hz=10, start=35, stop=60, first=9)
    )
    (alert,) = lost(told)
    assert alert.closed is not None
    assert ns(29) < alert.closed <= ns(30.1)


def test_mended_and_it_is_not() -> None:
    """A minute later it is told again."""
    told = story(MIRROR, stream(9, POND, hz=5, stop=120), stream(1, DESK, hz=10, stop=20), mark(30, mended=LOST))
    first, again = lost(told)
    assert (first.closed is not None, again.again, again.closed) == (True, first.id, None)
    assert ns(89) < again.opened < ns(91)


# ---- quiet ----


def test_a_conflict_without_a_new_sign_is_quiet_and_sinks() -> None:
    """Both boxes spoke in turn, then only one of them."""
    rival = WALK.at(POND.address)
    turns = [
        event
        for second in range(0, 24, 4)
        for event in at(second, frames.announce(POND)) + at(second + 2, frames.announce(rival))
    ]
    told = story(MIRROR, turns, every(30, frames.announce(POND), start=30, stop=420), stream(1, DESK, hz=1, stop=420))
    alert = next(each for each in told.alerts if each.code == "duplicate-address")
    assert alert.closed is None
    assert alert.quiet is not None
    assert ns(20) < alert.quiet < ns(40)
    assert (standing(told)["quiet"], standing(told)["now"]) == (1, 0)
    assert "Quiet for" in render(told, ())


def test_a_state_that_goes_on_is_not_quiet() -> None:
    told = story(MIRROR, stream(9, POND, hz=5, stop=400), stream(1, DESK, hz=10, stop=20))
    assert (lost(told)[0].quiet, standing(told)["now"]) == (None, 1)


def test_what_comes_and_goes_is_quiet_once_it_stays_away() -> None:
    pieces = [stream(1, DESK, hz=5, start=start, stop=start + 12, first=start) for start in range(0, 120, 24)]
    told = story(MIRROR, *pieces, stream(1, DESK, hz=5, start=120, stop=300, first=5), stream(9, POND, hz=5, stop=300))
    assert any(each.quiet is not None for each in lost(told)), [(each.times, each.closed) for each in lost(told)]


# ---- kept and replayed ----


def test_what_is_kept_replays_to_the_same_document(tmp_path: Path) -> None:
    events = [
        *stream(1, DESK, hz=10, stop=20), *stream(9, POND, hz=5, stop=60), *mark(0, phase="show", link=True),
        *mark(25, word="pond dark", at=ns(22)), *mark(30, known={**LOST, "until": ns(50), "why": "spare"}),
        *mark(55, mended=LOST),
        *mark(58, phase="building"),
    ]  # fmt: skip
    events.sort(key=lambda event: event.time)
    ports = (Port("eth0", 1),)
    live = play(events, ports, vantage="mirror", phase="building").snapshot()
    keeper = Keeper(tmp_path / "kept.pcapng")
    for item in items(events, ports, lambda place: place % 7 == 0):
        keeper.write(item)
    keeper.close()
    player = Player(DEFAULTS, "mirror")
    for item in open_captures([tmp_path / "kept.pcapng"]):
        player.feed(item)
    player.finish()
    assert json.dumps(document(player.snapshot(), ())) == json.dumps(document(live, ()))
    assert document(live, ())["phase"] == {"now": "building", "changes": [
        {"at": ns(0) // 1000 / 1e6, "phase": "show"}, {"at": ns(58) // 1000 / 1e6, "phase": "building"},
    ]}  # fmt: skip
