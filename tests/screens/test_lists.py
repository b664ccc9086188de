"""Who sends what, and which box has which address."""

from __future__ import annotations

import pytest
from screen_helpers import host, snapshot, stream
from textual.geometry import Size

from netwatch.screens.lists import HOSTS, STREAMS, heading, host_key, host_rows, stream_key, stream_rows
from netwatch.screens.looks import DARK

AT_80, AT_140 = Size(77, 19), Size(137, 35)


def test_streams_at_80_columns() -> None:
    told = [row.draw()[0].plain.rstrip() for row in stream_rows(snapshot(), AT_80, DARK)]
    assert heading(STREAMS, 77, DARK).plain.split() == ["universe", "sent", "by", "from", "address", "prio", "per", "s", "light"]
    assert told == [
        "Art-Net 0:7:15    Gatehouse desk     10.0.0.21               44 212 lit",
        "sACN 1            Gatehouse desk     10.0.0.21        100    44 212 lit",
        "sACN 2            Lantern walk       10.0.0.22        100    44 all at zero",
        "sACN 3            Mill pond          10.0.0.21        100    43 212 lit",
        "sACN 7            Orchard backup     10.0.0.21         50   0.0 silent 1 min",
        "sACN 9            Boathouse          10.0.0.21        100   0.0 signed off",
    ]


def test_a_large_screen_shows_more_of_a_stream() -> None:
    told = [row.draw()[0].plain for row in stream_rows(snapshot(), AT_140, DARK)]
    assert "lost" in heading(STREAMS, 137, DARK).plain
    assert "1.2 %" in told[3]
    assert "group" in told[3]
    assert "12 min 37 s" in told[3]


def test_hosts_by_address_and_what_they_are() -> None:
    told = [row.draw()[0].plain.rstrip() for row in host_rows(snapshot(), AT_80, DARK)]
    assert [line.split("  ")[0] for line in told] == [
        "10.0.0.1",
        "10.0.0.21",
        "10.0.0.31 +1",
        "10.0.0.50",
        "10.0.0.77",
        "none known",
    ]
    assert "Gatehouse desk, desk-1" in told[1]
    assert told[3].endswith("02:00:00:00:00:32 this laptop")
    assert told[4].endswith("02:00:00:00:00:4d gives addresses")


def test_addresses_are_sorted_as_numbers() -> None:
    made = host_rows(snapshot(hosts=(host(100), host(20), host(9, addresses=("fe80::1",)))), AT_80, DARK)
    assert [row.draw()[0].plain.split()[0] for row in made] == ["10.0.0.20", "10.0.0.100", "fe80::1"]


def test_nothing_heard_is_said() -> None:
    empty = snapshot(streams=(), hosts=())
    assert stream_rows(empty, AT_80, DARK)[0].draw()[0].plain.rstrip() == "Nobody has sent light so far."
    assert host_rows(empty, AT_80, DARK)[0].draw()[0].plain.rstrip() == "No box has been heard so far."


def test_every_row_has_a_key_of_its_own() -> None:
    streams = (stream(1), stream(1, source="b"), stream(1, protocol="artnet"), stream(1, interface="eth1"), stream(1, vlan=5))
    assert len({stream_key(s) for s in streams}) == 5
    assert len({host_key(h) for h in (host(1), host(2), host(1, interface="eth1"), host(1, vlan=5))}) == 4


@pytest.mark.parametrize("width", [37, 57, 77, 97, 117, 137, 200])
def test_columns_fill_the_width_and_stand_under_their_titles(width: int) -> None:
    for columns, made in ((STREAMS, stream_rows), (HOSTS, host_rows)):
        title = heading(columns, width, DARK)
        assert {row.draw()[0].cell_len for row in made(snapshot(), Size(width, 9), DARK)} == {title.cell_len} == {width}
