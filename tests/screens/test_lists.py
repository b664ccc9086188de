"""Who sends what, and which box has which address."""

from __future__ import annotations

import pytest
from screen_helpers import host, snapshot, stream
from textual.geometry import Size

from netwatch.screens import boxes, light
from netwatch.screens.boxes import host_key
from netwatch.screens.light import stream_key
from netwatch.screens.looks import DARK
from netwatch.story.light_views import WinnerView

AT_80, AT_140 = Size(77, 19), Size(137, 35)


def test_light_at_80_columns() -> None:
    told = [row.draw()[0].plain.rstrip() for row in light.rows(snapshot(), AT_80, DARK)]
    assert light.heading(77, DARK).plain.split() == ["universe", "sent", "by", "light", "who", "wins", "prio", "per", "s"]
    assert told == [
        "Art-Net 0:7:15    Gatehouse desk    212 lit       alone                    44",
        "sACN 1            Gatehouse desk    212 lit       alone             100    44",
        "sACN 2            Lantern walk      all at zero   alone             100    44",
        "sACN 3            Mill pond         212 lit       alone             100    43",
        "sACN 7            Orchard backup    silent 1 min  not used           50   0.0",
        "sACN 9            Boathouse         signed off    not used          100   0.0",
    ]


def test_who_wins_a_shared_universe() -> None:
    """E1.31-2018 6.2.3: the highest priority wins; among equals the receiver decides."""
    two = (stream(1), stream(1, name="Backup", source="b", priority=90), stream(2), stream(2, name="Second", source="c"))
    a, b = two[0].source, two[2].source
    winners = (
        WinnerView("eth0", None, "e131", 1, "priority", a, (), (), ()),
        WinnerView("eth0", None, "e131", 2, "receiver decides", None, (b, "c"), (), ()),
    )
    told = [row.draw()[0].plain.rstrip() for row in light.rows(snapshot(streams=two, winners=winners), AT_80, DARK)]
    assert told == [
        "sACN 1            Gatehouse desk    212 lit       wins: priority    100    44",
        "                  Backup            212 lit       not used           90    44",
        "sACN 2            Gatehouse desk    212 lit       receiver decides  100    44",
        "                  Second            212 lit       receiver decides  100    44",
    ]


def test_a_large_screen_shows_more_of_a_stream() -> None:
    told = [row.draw()[0].plain for row in light.rows(snapshot(), AT_140, DARK)]
    assert "lost" in light.heading(137, DARK).plain
    assert "1.2 %" in told[3]
    assert "group" in told[3]
    assert "12 min 37 s" in told[3]


def test_hosts_by_address_and_what_they_are() -> None:
    told = [row.draw()[0].plain.rstrip() for row in boxes.rows(snapshot(), AT_80, DARK)]
    assert [line.split("  ")[0] for line in told] == [
        "10.0.0.1",
        "10.0.0.21",
        "10.0.0.31 +1",
        "10.0.0.50",
        "10.0.0.77",
        "none known",
    ]
    assert "Gatehouse desk, desk-1" in told[1]
    assert told[3].endswith("this laptop     10.0.0.1")
    assert told[4].endswith("gives addresses 10.0.0.1")


def test_addresses_are_sorted_as_numbers() -> None:
    made = boxes.rows(snapshot(hosts=(host(100), host(20), host(9, addresses=("fe80::1",)))), AT_80, DARK)
    assert [row.draw()[0].plain.split()[0] for row in made] == ["10.0.0.20", "10.0.0.100", "fe80::1"]


def test_nothing_heard_is_said() -> None:
    empty = snapshot(streams=(), hosts=())
    assert light.rows(empty, AT_80, DARK)[0].draw()[0].plain.rstrip() == "Nobody has sent light so far."
    assert boxes.rows(empty, AT_80, DARK)[0].draw()[0].plain.rstrip() == "No box has been heard so far."


def test_every_row_has_a_key_of_its_own() -> None:
    streams = (stream(1), stream(1, source="b"), stream(1, protocol="artnet"), stream(1, interface="eth1"), stream(1, vlan=5))
    assert len({stream_key(s) for s in streams}) == 5
    assert len({host_key(h) for h in (host(1), host(2), host(1, interface="eth1"), host(1, vlan=5))}) == 4


@pytest.mark.parametrize("width", [37, 57, 77, 97, 117, 137, 200])
def test_columns_fill_the_width_and_stand_under_their_titles(width: int) -> None:
    for view in (light, boxes):
        title = view.heading(width, DARK)
        assert {row.draw()[0].cell_len for row in view.rows(snapshot(), Size(width, 9), DARK)} == {title.cell_len} == {width}
