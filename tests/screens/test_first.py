"""The lines on top, the checks and the alerts: what stands where, in what words."""

from __future__ import annotations

from typing import Any

import pytest
from screen_helpers import NAMES, alert, at, snapshot, story_alerts
from textual.geometry import Size

from netwatch.screens.first import FOLDED_SHOWN, families, rows
from netwatch.screens.lines import Row
from netwatch.screens.looks import DARK
from netwatch.screens.trust import trust
from netwatch.story.snapshot import AlertView, Limit, Listening, Snapshot

AT_80, AT_140 = Size(77, 20), Size(137, 36)
"""Cells for text on a terminal of 80x24 and of 140x40."""


def lines(made: list[Row]) -> list[str]:
    return [text.plain.rstrip() for row in made for text in row.draw()]


def alerts_only(alerts: tuple[AlertView, ...], size: Size) -> list[Row]:
    return [row for row in rows(snapshot(alerts=alerts), size, DARK) if isinstance(row.key, tuple) and row.key[0] != "check"]


def on_top(width: int = 78, **more: Any) -> list[str]:
    return [line.rstrip() for line in (line.plain for line in trust(snapshot(**more), width, DARK))]


# ---- the lines on top ----


def test_trust_says_where_why_how_much_how_long_and_the_phase() -> None:
    where, heard, verdict = on_top(140)
    assert where == "On eth0, ordinary port: its own reports were heard and no traffic between others"
    assert heard == "20:12:40 · 84,213 packets in 12 min 40 s · none dropped · phase building"
    assert verdict == "!! 2 now  ~ 1 quality  - 1 tidy  . 1 note  1 known  1 over  6 of 11 checks fine, 3 can't say"


def test_in_a_show_only_now_is_on_the_top_line() -> None:
    assert on_top(140, phase="show")[2] == "!! 2 now  later (2)  1 known  1 over  6 of 11 checks fine, 3 can't say"
    quiet = (alert(1, "now", quiet=at(400)), alert(2, "soon"), alert(3, "note"))
    assert (
        on_top(140, phase="show", alerts=quiet)[2]
        == "Nothing stops the show  later (1)  1 quiet  6 of 11 checks fine, 3 can't say"
    )


def test_trust_says_what_is_not_to_be_trusted() -> None:
    late = alert(1, "soon", code="capture-dropping", facts={"dropped": 12}, about_laptop=True)
    full = Limit("hosts", 4096, 4096, 12, 0, at(10))
    top = on_top(alerts=(late,), dropped=1_200, limits=(full, Limit("groups", 4096, 3, 0, 0, None)))
    assert "! 1,200 dropped" in top[1]
    assert top[2] == "! Not to be trusted: 12 packets missed; more hosts than I keep"
    assert len(on_top(alerts=(alert(1, about_laptop=True, closed=at(90)),))) == 3


def test_several_ports_a_dead_link_and_none() -> None:
    down = Listening("eth0", "unknown", (), "wired", "down", (), 0, 0)
    air = Listening("wlan0", "wifi", (), "wifi", "up", (), 9, 0)
    assert on_top(listening=(down, air))[0] == "On eth0, kind of port not known yet, link down; wlan0, Wi-Fi"
    assert on_top(listening=())[0] == "On no interface"


def test_replay_says_so_and_before_the_first_packet_nothing_breaks() -> None:
    top = on_top(live=False, first=None, packets=0)
    assert top[0].startswith("Capture of eth0, ordinary port")
    assert top[1] == "20:12:40 · 0 packets in 0 s · none dropped · phase building"


def test_no_alert_is_not_said_to_be_health() -> None:
    assert on_top(alerts=())[-1] == "No alert is open  6 of 11 checks fine, 3 can't say"


@pytest.mark.parametrize("width", [1, 8, 38, 58, 78, 138])
def test_lines_on_top_keep_to_the_width(width: int) -> None:
    text = trust(snapshot(alerts=(alert(1, about_laptop=True),)), width, DARK)
    assert [line.cell_len for line in text] == [width] * 4


# ---- checks ----


def test_all_checks_have_their_line_at_80x24_and_room_for_alerts_is_left() -> None:
    told = lines(rows(snapshot(), AT_80, DARK))
    for name, line in zip(NAMES, told, strict=False):
        assert name in line
    assert told[0] == "   FINE           This laptop can be trusted: nothing dropped, clock steady"
    assert told[2] == "!! WRONG          One DHCP server: 10.0.0.1 and 10.0.0.77 both answer"
    assert told[4] == "?  NOT YET        All on one network: known at 20:13 if it stays quiet"
    assert told[7].startswith("?  NOT FROM HERE  Multicast will hold: plug into a mirror port")
    assert told[10] == "   NOT USED HERE  As planned: no plan was given"
    assert told[11] == "Alerts, worst first (8). Enter opens one"


def test_a_large_screen_cuts_no_check() -> None:
    long = "plug into a mirror port, " * 9 + "end"
    few = tuple(check.__class__(check.name, check.state, long) for check in snapshot().checks)
    made = rows(snapshot(checks=few), AT_140, DARK)
    assert made[0].height > 1
    told = " ".join(" ".join(lines(made[:1])).split())
    assert told.endswith(long)


def test_on_40_columns_state_and_name_come_first() -> None:
    told = lines(rows(snapshot(), Size(37, 8), DARK))
    assert told[1].rstrip() == "   FINE  The rig is heard"
    assert told[2] == "!! WRONG  One DHCP server: 10.0.0.1 …"


def test_a_wrong_check_has_the_mark_of_its_alert() -> None:
    mild = (alert(1, "quality"),)
    assert lines(rows(snapshot(alerts=mild), AT_80, DARK))[2].startswith("~  WRONG")
    assert lines(rows(snapshot(alerts=()), AT_80, DARK))[2].startswith("!  WRONG")


# ---- alerts ----


def test_worst_first_folded_under_their_cause_known_then_over_last() -> None:
    alone, under = families(story_alerts())
    assert [a.id for a in alone] == [1, 2, 4, 5, 6, 7, 8]
    assert {cause: [a.id for a in found] for cause, found in under.items()} == {2: [3]}


def test_what_is_quiet_sinks_and_says_for_how_long() -> None:
    alone, _ = families((alert(1, "now", quiet=at(400)), alert(2, "tidy"), alert(3, "soon", accepted={"why": ""})))
    assert [a.id for a in alone] == [2, 1, 3]
    told = lines(alerts_only((alert(1, "now", "Two devices use 10.0.0.5", quiet=at(400)),), AT_80))
    assert told[0].startswith("!! quiet    Two devices use 10.0.0.5 (quiet for 6 min)")


def test_in_a_show_what_waits_stands_under_later() -> None:
    shown = snapshot(
        phase="show", alerts=(alert(1, "tidy", "T"), alert(2, "now", "N"), alert(3, "soon", "S"), alert(4, "note", "O"))
    )
    keys = [row.key for row in rows(shown, AT_80, DARK)[12:]]
    assert keys == [("alert", 2), "later", ("alert", 3), ("alert", 1), ("alert", 4)]
    building = [row.key for row in rows(snapshot(alerts=shown.alerts), AT_80, DARK)[12:]]
    assert building == [("alert", 2), ("alert", 3), ("alert", 1), ("alert", 4)]


def test_of_those_that_are_over_the_newest_is_first() -> None:
    alone, _ = families((alert(1, closed=at(300)), alert(2, closed=at(500)), alert(3, "note")))
    assert [a.id for a in alone] == [3, 2, 1]


def test_what_is_still_true_comes_up_when_its_cause_is_over() -> None:
    alone, under = families((alert(1, "now", closed=at(300)), alert(2, "soon", over=1), alert(3, over=99)))
    assert [a.id for a in alone] == [2, 3, 1]
    assert not under


def test_at_80_columns_a_short_alert_has_one_line_and_a_longer_one_two() -> None:
    short = alert(5, "tidy", "Two names for one box", first_step="Rename one.")
    longer = alert(6, "quality", "1.2 % of universe 3 gets lost on the way here", first_step="Change the cable to the mill pond.")
    assert lines(alerts_only((longer, short), AT_80)) == [
        "~  quality  1.2 % of universe 3 gets lost on the way here",
        "   20:01:06 First: Change the cable to the mill pond.",
        "-  tidy     Two names for one box   First: Rename one.",
    ]


def test_at_140_columns_the_time_and_the_first_step_stand_in_the_same_line() -> None:
    title, step = "1.2 % of universe 3 gets lost on the way here (3 times)", "First: Change the cable to the mill pond."
    assert lines(alerts_only((story_alerts()[3],), AT_140)) == [f"~  quality  20:01:04  {title}   {step}"]


@pytest.mark.parametrize("width", [37, 57, 77, 137])
def test_a_title_is_never_cut_and_a_step_is_always_begun(width: int) -> None:
    for size in range(1, 12):
        one = alert(1, "now", "word " * size + "end", first_step="step " * 30)
        told = " ".join(" ".join(lines(alerts_only((one,), Size(width, 20)))).replace("20:01:01", "").split())
        assert "word " * size + "end" in told
        assert "First: step" in told


def test_words_of_certainty_repetition_known_and_over() -> None:
    told = "\n".join(lines(alerts_only(story_alerts(), AT_140)))
    assert "to this laptop (likely)" in told
    assert "on the way here (3 times)" in told
    assert "!  known    20:01:07  10.0.0.9 found no DHCP server" in told
    assert told.endswith("   over     20:01:08  Boathouse went silent: universes 9-12 (over since 20:06:40)")
    assert "(a hint)" in lines(alerts_only((alert(1, certainty="hint"),), AT_80))[0]


def test_many_folded_alerts_take_few_lines() -> None:
    many = (alert(1, "now", under=tuple(range(2, 40))), *(alert(n, over=1) for n in range(2, 40)))
    told = lines(alerts_only(many, AT_80))
    assert len(told) == 2 + FOLDED_SHOWN + 1
    assert told[2].startswith("   !  soon     Alert number 2")
    assert told[-1].strip() == "and 35 more because of it (Enter shows all)"


def test_what_is_over_or_known_is_faint() -> None:
    quiet = alerts_only((alert(1, closed=at(90)), alert(2, accepted={"why": "spare"})), AT_80)
    styles = {span.style for row in quiet for text in row.draw() for span in text.spans}
    assert styles == {DARK.faint}


@pytest.mark.parametrize("width", [1, 9, 20, 37, 57, 77, 137, 200])
@pytest.mark.parametrize("height", [2, 20, 60])
def test_rows_have_the_lines_that_they_announce_and_keep_to_the_width(width: int, height: int) -> None:
    forty = tuple(alert(n, ("now", "soon", "note")[n % 3], "Alert " * (n % 9 + 1)) for n in range(40))
    moment: Snapshot = snapshot(alerts=(*story_alerts(), *(alert(n.id + 100, n.severity, n.title) for n in forty)))
    made = rows(moment, Size(width, height), DARK)
    assert len({row.key for row in made}) == len(made)
    for row in made:
        told = row.draw()
        assert len(told) == row.height
        if width >= 20:
            assert all(text.cell_len <= width for text in told), row.key


def test_a_file_without_the_name_of_its_interface_is_just_a_capture() -> None:
    nameless = Listening("capture", "unknown", (), "", "", (), 9, 0)
    assert on_top(live=False, listening=(nameless,))[0] == "Capture, kind of port not known yet"
    assert on_top(live=False, listening=())[0] == "Capture"
    assert on_top(live=False)[0].startswith("Capture of eth0, ordinary port")
    assert on_top(listening=())[0] == "On no interface"


def test_what_is_said_of_time_is_whole_and_what_was_dropped_stays() -> None:
    long = "journal, nothing new for 22 s: its watch may have been ended by force"
    fine, lossy = (trust(snapshot(dropped=dropped), 80, DARK, long)[1].plain.rstrip() for dropped in (0, 1_200))
    assert fine == f"20:12:40, {long}"
    assert "1,200 dropped" in trust(snapshot(dropped=1_200), 80, DARK, "stands still, ends 20:20:00")[1].plain
    assert lossy.startswith("20:12:40, journal")
