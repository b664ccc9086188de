"""When rules are asked again: after news of what they read, and of nothing else. Our own contract; no outside source."""

from __future__ import annotations

from collections import Counter

import pytest

from netwatch.alerts import judge
from netwatch.alerts.look import Looked, TableRule
from netwatch.network.network import Network
from netwatch.numbers import DEFAULTS
from netwatch.story.play import Player
from tests.stories.artnet_frames import poll, reply
from tests.stories.boxes import DESK, ORCHARD, POND, SERVER, SWITCH, WALK
from tests.stories.frames import ACK, DECLINE, DISCOVER, REQUEST, dhcp, leave, query, report
from tests.stories.playing import play
from tests.stories.script import at, every


class Counting:
    """A rule that counts how often it is asked."""

    def __init__(self, rule: TableRule, asked: Counter[str]) -> None:
        self._rule, self._asked, self.rule = rule, asked, rule.rule

    def look(self, network: Network, now: int) -> Looked:
        self._asked[self.rule.code] += 1
        return self._rule.look(network, now)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Times that each rule was asked."""
    times = Counter[str]()
    codes = (
        "two-dhcp-servers", "poll-unanswered", "two-queriers", "same-node-name", "no-dhcp-answer", "address-declined",
        "dhcp-offer-wrong", "fast-leave", "deaf-receiver",
    )  # fmt: skip
    monkeypatch.setattr(judge, "TABLES", {code: Counting(judge.TABLES[code], times) for code in codes})
    return times


def test_a_poll_is_news_to_those_who_look_at_polls(asked: Counter[str]) -> None:
    play([*at(0.5, reply(ORCHARD)), *every(1, poll(DESK), stop=30)])
    assert asked["poll-unanswered"] >= 30
    assert max(asked[code] for code in ("two-dhcp-servers", "two-queriers", "same-node-name")) < 10


def test_a_question_for_an_address_is_news_to_those_who_look_at_leases(asked: Counter[str]) -> None:
    play(every(1, dhcp(DISCOVER, WALK), stop=30))
    assert asked["two-dhcp-servers"] >= 30
    assert max(asked[code] for code in ("poll-unanswered", "two-queriers", "same-node-name")) < 10


def test_who_is_served_is_no_news_to_those_who_look_at_clients_that_wait(asked: Counter[str]) -> None:
    play(every(1, dhcp(REQUEST, WALK, server=SERVER.address, requested=WALK.address), stop=30))
    assert asked["two-dhcp-servers"] >= 30
    assert max(asked[code] for code in ("no-dhcp-answer", "address-declined", "dhcp-offer-wrong")) < 10


def test_what_a_server_gives_is_news_to_those_who_look_at_that(asked: Counter[str]) -> None:
    play(every(1, dhcp(ACK, WALK, server=SERVER.address, yiaddr=WALK.address, mask="255.255.0.0", by=SERVER), stop=30))
    assert asked["dhcp-offer-wrong"] >= 30
    assert max(asked[code] for code in ("no-dhcp-answer", "address-declined")) < 10


def test_an_address_that_is_declined_is_news_to_those_who_look_at_that(asked: Counter[str]) -> None:
    play(every(1, dhcp(DECLINE, WALK, server=SERVER.address, requested=WALK.address), stop=30))
    assert asked["address-declined"] >= 30
    assert max(asked[code] for code in ("no-dhcp-answer", "dhcp-offer-wrong")) < 10


def test_reports_are_no_news_to_those_who_look_at_queries(asked: Counter[str]) -> None:
    play(every(1, report(WALK, "239.255.0.1"), stop=30))
    assert max(asked[code] for code in ("two-queriers", "fast-leave", "deaf-receiver")) < 10
    before = asked["two-queriers"]
    play(every(1, query(SWITCH), stop=30))
    assert asked["two-queriers"] >= before + 30


def test_reports_on_a_group_that_somebody_left_are_news_to_those_who_look_at_that(asked: Counter[str]) -> None:
    play([*at(0.5, leave(WALK, "239.255.0.1")), *every(1, report(POND, "239.255.0.1"), start=1, stop=31)])
    assert asked["fast-leave"] >= 30
    assert asked["two-queriers"] < 10


def test_the_parts_that_were_read() -> None:
    player = Player(DEFAULTS)
    model = player.network
    assert model.parts.reading(lambda: (model.leases, model.starts))[1] == {"leases", "starts"}
    assert model.parts.reading(lambda: model.revision)[1] == set()
