"""Pages of one thing, and help."""

from __future__ import annotations

import pytest
from screen_helpers import alert, at, snapshot, story_alerts
from textual.geometry import Size

from netwatch.screens import boxes, light
from netwatch.screens.boxes import host_key
from netwatch.screens.help import VIEWS, help_page
from netwatch.screens.light import stream_key
from netwatch.screens.lines import Row
from netwatch.screens.looks import DARK, MARKS, WORDS
from netwatch.screens.pages import Page, page

SIZE = Size(77, 19)


def told(shown: Page | None) -> str:
    assert shown is not None
    return "\n".join(
        [shown.head(SIZE.width).plain.rstrip(), *(text.plain.rstrip() for row in shown.rows(SIZE) for text in row.draw())]
    )


def test_an_alert_in_full() -> None:
    one = alert(
        1,
        "now",
        "Two DHCP servers seen",
        certainty="likely",
        times=2,
        vlan=12,
        facts={"servers": ["10.0.0.1", "10.0.0.77"], "seen_for": 12.5},
        steps=(("Unplug the boathouse box.", "Universe 7 goes dark."), ("Look at its label.", "")),
        packets=(12, 4321),
    )
    assert told(page(("alert", 1), snapshot(alerts=(one,)), DARK)).split("\n") == [
        "!! NOW  since 20:01:01, still true, told 2 times",
        "Two DHCP servers seen",
        "How sure: likely, not certain. Seen on eth0, VLAN 12.",
        "",
        "What to do, in this order",
        "  1. Unplug the boathouse box.",
        "     Disturbs: Universe 7 goes dark.",
        "  2. Look at its label.",
        "     Disturbs: nothing",
        "",
        "What was seen",
        "  The servers name themselves 10.0.0.1 and 10.0.0.77.",
        "  Their MACs were not seen.",
        "",
        "Packets that it rests on",
        "  number 12",
        "  number 4,321",
    ]


def test_what_to_do_on_each_system_stands_on_the_page_of_the_laptops_own_faults() -> None:
    one = alert(1, "soon", "eth0 and wlan0 are in one network", code="two-interfaces-one-network", facts={}, about_laptop=True)
    shown = told(page(("alert", 1), snapshot(alerts=(one,)), DARK))
    assert shown.index("What to do") < shown.index("On Linux") < shown.index("On macOS") < shown.index("On Windows")
    assert "nmcli radio wifi off" in shown


def test_cause_and_consequence_name_each_other() -> None:
    moment = snapshot()
    cause, consequence = told(page(("alert", 2), moment, DARK)), told(page(("alert", 3), moment, DARK))
    assert "Because of this\n  Nothing of universe 7 reaches this laptop" in cause
    assert "Because of: Multicast dropped after 90 s" in consequence
    assert told(page(("more", 2), moment, DARK)) == cause


def test_an_alert_that_is_over_or_known() -> None:
    assert told(page(("alert", 8), snapshot(), DARK)).startswith("!! NOW  since 20:01:08, over since 20:06:40")
    assert "Known, leave it for this job: spare box." in told(page(("alert", 7), snapshot(), DARK))


def test_a_check_in_full() -> None:
    text = told(page(("check", "Multicast will hold"), snapshot(), DARK))
    assert text.split("\n") == [
        "? NOT FROM HERE",
        "Multicast will hold",
        "plug into a mirror port to see queries and answers of others",
    ]


def test_a_stream_in_full() -> None:
    moment = snapshot()
    key = stream_key(moment.streams[2])
    assert key in {row.key for row in light.rows(moment, SIZE, DARK)}
    text = told(page(key, moment, DARK))
    assert text.startswith("sACN 3 from Mill pond\n")
    assert "Lost: 365 (1.2 %); out of order 0; repeated 0" in text
    assert "Priority: 100" in text
    assert "Source: 00000000000000000000000000000003" in text
    assert "signed off properly" in told(page(stream_key(moment.streams[4]), moment, DARK))


def test_a_box_in_full() -> None:
    moment = snapshot()
    key = host_key(moment.hosts[3])
    assert key in {row.key for row in boxes.rows(moment, SIZE, DARK)}
    text = told(page(key, moment, DARK))
    assert "Names: Gatehouse desk (from sACN); desk-1 (from DHCP)" in text
    assert "Got its address from: 10.0.0.1" in text
    assert told(page(host_key(moment.hosts[2]), moment, DARK)).startswith("10.0.0.77, gives addresses\n")


@pytest.mark.parametrize("key", [("alert", 99), ("check", "gone"), ("stream",), ("host", "eth0", None, "gone"), "nobody", None])
def test_what_is_gone_has_no_page(key: object) -> None:
    assert page(key, snapshot(), DARK) is None


@pytest.mark.parametrize("width", [20, 37, 77, 137])
def test_pages_keep_to_the_width(width: int) -> None:
    made: list[Row] = []
    for one in story_alerts():
        shown = page(("alert", one.id), snapshot(now=at(900)), DARK)
        assert shown is not None
        made += shown.rows(Size(width, 9))
    assert all(text.cell_len <= width for row in made for text in row.draw())
    leads = {row.key[2][0] for row in made if row.chosen and isinstance(row.key, tuple)}
    assert {"packet"} <= leads <= {"alert", "host", "universe", "packet"}


@pytest.mark.parametrize("view", VIEWS)
def test_help_explains_every_mark_and_key(view: str) -> None:
    acting, watching = told(help_page(view, True, False, DARK)), told(help_page(view, False, False, DARK))
    for severity, mark in MARKS.items():
        assert any(line.split()[:2] == [mark, f"{WORDS[severity]}:"] for line in acting.split("\n"))
    assert "  J       join universes" in acting
    assert "join universes" not in watching
    assert "  q       quit" in watching


def test_in_a_show_some_steps_wait_until_after_it() -> None:
    steps = (("Look.", "nothing"), ("Ask.", "nothing"), ("Restart it.", "its light"))
    made = alert(1, "soon", steps=steps, waits=(False, False, True), quiet=at(400), facts={"in_a_show": "now"})
    lines = told(page(("alert", 1), snapshot(phase="show", alerts=(made,)), DARK)).split("\n")
    assert [line.strip() for line in lines if "agrees" in line or "Restart" in line] == [
        "After the show, or when whoever calls it agrees:", "3. Restart it."
    ]
    assert "Quiet for 6 min 00 s: no new sign since 20:06:40." in lines
    assert "A note while the rig is put up; in a show this is NOW." in lines
    assert "agrees" not in told(page(("alert", 1), snapshot(alerts=(made,)), DARK))
