"""What ends by itself."""

from __future__ import annotations

from screen_helpers import at, snapshot
from textual.geometry import Size

from netwatch.screens import ends
from netwatch.screens.looks import DARK
from netwatch.story.snapshot import Ending

LEASE = Ending("eth0", None, "lease", "10.0.0.21", at(3600), None,
               "Gatehouse desk has to give back 10.0.0.21 unless 10.0.0.1 prolongs it.",
               "host:02:00:00:00:00:15", at(1800))  # fmt: skip
QUERY = Ending(
    "eth0", None, "query", "10.0.0.1", at(750), None, "10.0.0.1 asks again who listens to multicast.", "host:02:00:00:00:00:01"
)
GROUP = Ending("eth0", None, "group", "239.255.0.7", at(700), at(900), "The switch stops passing on sACN 7.", "universe:7")


def told(*endings: Ending, width: int = 137) -> list[str]:
    made = ends.rows(snapshot(endings=endings), Size(width, 30), DARK)
    return [line.plain.rstrip() for row in made for line in row.draw()]


def test_soonest_first_in_one_line_each_on_a_large_screen() -> None:
    assert told(QUERY, GROUP, LEASE) == [
        "20:12:30          due 10 s ago      query     10.0.0.1 asks again who listens to multicast.",
        "20:11:40-20:15:00 any moment        universe  The switch stops passing on sACN 7.",
        "21:00:00          in 47 min 20 s    address   Gatehouse desk has to give back 10.0.0.21 unless 10.0.0.1 prolongs it. "
        "It asks from",
        "                                              20:30:00 on.",
    ]


def test_on_a_small_screen_the_text_stands_below() -> None:
    assert told(LEASE, width=57) == [
        "21:00:00          in 47 min 20 s    address",
        "    Gatehouse desk has to give back 10.0.0.21 unless",
        "    10.0.0.1 prolongs it. It asks from 20:30:00 on.",
    ]


def test_what_cannot_be_seen_is_said() -> None:
    assert told()[0] == "Nothing is known that ends by itself."
    assert told()[-1] == "How long addresses are lent can't be seen from here: only a mirror port shows it."
    assert not any("can't be seen" in line for line in told(LEASE))


def test_each_leads_to_what_it_is_about() -> None:
    moment = snapshot(endings=(LEASE, GROUP))
    keys = [row.key for row in ends.rows(moment, Size(137, 30), DARK)]
    assert [ends.target(key, moment) for key in keys] == [
        ("host", "eth0", None, "02:00:00:00:00:15"),
        ("universe", "eth0", None, "e131", 7),
    ]
    assert ends.target(("ending", "lease", "eth0", None, "gone"), moment) is None
