"""The text for people. Its layout is our own, so the golden text is compared with itself; cell widths with rich."""

from __future__ import annotations

import re
from datetime import timedelta, timezone
from pathlib import Path

import pytest
from rich.cells import cell_len

from netwatch.packets.batch import FileSeen
from netwatch.report.text import distrust, render
from netwatch.story.snapshot import Check, Happening, Limit, Listening, Snapshot
from tests.handmade import DESK, FILES, alert, at, clean, empty, host, stream, troubled

UTC1 = timezone(timedelta(hours=1))
GOLDEN = Path(__file__).with_name("evening.txt")
EVIL = "\x1b[2J\x1b]0;owned\x07[red]灯台{who}\r\n\u202e" + "x" * 200


def shown(snapshot: Snapshot, width: int = 80, colour: bool = False) -> str:
    return render(snapshot, FILES, width=width, colour=colour, zone=UTC1)


def test_golden_evening():
    assert shown(troubled()) == GOLDEN.read_text(encoding="utf-8")


def hostile() -> Snapshot:
    """Every text that can come from packets, files or the machine is hostile."""
    facts = {"who": EVIL, "universes": [1], "protocol": "e131"}
    known = {"at": at(1), "until": None, "why": EVIL}
    return troubled(
        alerts=(
            alert(1, "source-lost", "now", facts, title=EVIL, interface=EVIL),
            alert(2, "source-lost", "soon", facts, accepted=known),
            alert(3, EVIL, "quality", {}),
            alert(4, "packets-lost", "note", {"universe": 3, "who": EVIL, "lost": 4}),
        ),
        streams=(stream(1, name=EVIL, source=DESK), stream(2, interface=EVIL, address=EVIL)),
        hosts=(host("02:00:00:00:00:01", ("10.0.0.1",), ((EVIL, EVIL), ("desk", "sACN")), vendor=EVIL, interface=EVIL),),
        checks=(Check(EVIL, "NOT YET", EVIL),),
        listening=(Listening(EVIL, "unknown", (EVIL,), "wired", EVIL, (EVIL,), 1, 0),),
        happenings=(Happening(at(1), "hole", EVIL), Happening(at(1), "sent", EVIL)),
        undecoded={EVIL: 3},
        limits=(Limit(EVIL, 1, 1, 1, 1, None),),
    )


@pytest.mark.parametrize("width", [40, 57, 80, 132])
@pytest.mark.parametrize("made", [hostile(), troubled(), clean(), empty()], ids=["hostile", "troubled", "clean", "empty"])
def test_no_line_is_too_wide_or_holds_a_control_character(made, width):
    text = render(made, [FileSeen(EVIL, 1, 2, EVIL)], width=width, zone=UTC1)
    for line in text.split("\n"):
        assert line.isprintable()
        assert cell_len(line) <= width
        assert line == line.rstrip()
    assert text.endswith("\n")


def test_narrower_than_40_is_40():
    assert shown(troubled(), width=5) == shown(troubled(), width=40)


def test_colour_only_adds():
    coloured = shown(troubled(), colour=True)
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == shown(troubled())
    assert "\x1b" not in re.sub(r"\x1b\[[0-9;]*m", "", shown(hostile(), colour=True))


def test_worst_comes_first_and_what_is_explained_stands_under_its_cause():
    text = shown(troubled())
    places = [
        text.index(t) for t in ("Multicast dropped", "Nothing of universe 7", "fight over", "Two DHCP servers", "signed off")
    ]
    assert places == sorted(places)
    assert text.count("Nothing of universe 7") == 1
    assert "Found: 2 NOW" in text


def test_all_well_is_said_with_what_could_not_be_seen():
    text = shown(clean())
    assert "Nothing wrong was found in what can be seen from here." in text
    assert "Could not be checked: 'Multicast will hold' and 'Nothing floods'" in text
    assert "? NOT FROM HERE  Nothing floods. Plug into a mirror port to see it." in text
    assert "Found" not in text


def test_notes_alone_are_no_findings():
    text = shown(clean(alerts=(alert(6, "source-ended", "note", {"who": "Boathouse"}),)))
    assert "Nothing wrong was found" in text
    assert ".  18:22:17 Boathouse signed off properly" in text


def test_known_alert_is_quiet_and_says_why():
    known = {"at": at(1), "until": None, "why": "both desks are meant"}
    fight = alert(2, "sources-fighting", "now", {"a": "A", "b": "B", "universe": 1}, accepted=known)
    text = shown(clean(alerts=(fight,)), width=120)
    assert "Nothing wrong was found" in text
    assert "(known, leave it for this job: both desks are meant)" in text
    assert "from here. 1 alert is known and left be." in text


def test_wrong_check_points_to_its_alert():
    assert "! WRONG          One DHCP server. See alert 1.\n" in shown(troubled())


def test_what_is_over_is_said_to_be():
    one, two = (alert(i, "source-lost", "now", {}, closed=at(9)) for i in (1, 2))
    assert "about to). It is over by now." in shown(clean(alerts=(one,)))
    assert "about to). All of them are over by now." in shown(clean(alerts=(one, two)))


def test_nothing_heard():
    assert "Nothing was heard" in shown(empty())
    assert "Good" not in shown(empty())


def test_times_are_local_and_name_another_day():
    late = alert(1, "source-lost", "now", {}, since=at(7 * 3600), closed=at(7 * 3600 + 5))
    text = shown(clean(alerts=(late,), last=at(7 * 3600 + 9)), width=120)
    assert "Wed 25 Nov 2026, 18:22:11 to 26 Nov 01:22:20 (7 h), local time UTC+01:00." in text
    assert "26 Nov 01:22:11 to 26 Nov 01:22:16, 5 s. Over." in text


def test_why_the_view_is_not_whole():
    facts = {"interface": "eth0", "dropped": 12}
    made = clean(
        dropped=1234,
        limits=(Limit("hosts", 4096, 4096, 3, 2, None),),
        alerts=(alert(1, "capture-dropping", "soon", facts, about_laptop=True),),
    )
    files = [FileSeen("a.pcap", 1, 2, "a.pcap: the last record is cut short; all before it was read.")]
    assert distrust(made, files) == [
        "1,234 packets were dropped before being recorded",
        "a.pcap: the last record is cut short; all before it was read",
        "table of hosts full at 4,096, 5 not kept",
        "The recording missed 12 packets on eth0: do not trust losses shown here",
    ]
    assert "Trust     Limited. 1,234 packets" in render(made, files, zone=UTC1)
    assert distrust(clean(), FILES) == []


def test_good_news_is_held_back_where_the_view_is_limited():
    assert "But the view is limited" in shown(clean(dropped=1))


def test_many_alerts_of_one_code_share_their_steps():
    many = tuple(alert(i, "source-lost", "now", {"who": f"Lantern {i}", "universes": [i]}) for i in range(1, 41))
    text = shown(clean(alerts=many))
    assert text.count("   Do     1. ") == 1
    assert text.count("As for alert 1 above.") == 5
    assert text.count("went silent") == 18
    assert "and 22 more of source-lost" in text


def test_long_lists_are_cut():
    hosts = tuple(host(f"02:00:00:00:00:{n:02x}", (f"10.0.0.{n}",)) for n in range(1, 37))
    under = tuple(alert(i, "universe-silent", "now", {"universe": i}, over=1) for i in range(2, 20))
    drop = alert(1, "multicast-dropped", "now", {"universes": [7]}, under=tuple(a.id for a in under))
    text = shown(clean(hosts=hosts, alerts=(drop, *under)))
    assert "and 12 more" in text.split("BOXES")[1]
    assert "          and 12 more\n" in text.split("BOXES")[0]


def test_one_row_for_a_sender_with_many_universes():
    text = shown(troubled()).split("WHO SENDS LIGHT")[1]
    assert "sACN 1-12           Gatehouse desk  10.0.0.10  100       44         0.6 %\n" in text
    assert "Art-Net 0.1.5 (21)" in text


def test_networks_are_named_where_there_is_more_than_one():
    text = shown(clean(streams=(stream(1), stream(2, vlan=20)), hosts=(host("02:00:00:00:00:01", (), vlan=20),)))
    assert "eth0 VLAN 20" in text
    assert "Where" not in shown(clean()).split("WHO SENDS LIGHT")[1]


def test_live_watch_says_what_it_sent():
    assert "Sent      Nothing: listening changes nothing" in shown(clean(live=True))
    sent = shown(clean(live=True, happenings=(Happening(at(2), "sent", "joined universe 7"),)))
    assert "Sent      18:22:13 joined universe 7." in sent


def test_gaps_settings_and_unread_packets_are_told():
    made = clean(
        happenings=(Happening(at(9), "hole", "nothing was recorded for 40 s"),),
        settings={"source_silent_s": 4.0},
        undecoded={"cut short": 3, "link type 9": 20},
    )
    text = shown(made)
    assert "Gaps      18:22:20 nothing was recorded for 40 s." in text
    assert "Settings  Changed by hand: source_silent_s = 4 s, not the standard's 2.5" in text
    assert "Unread    23 packets. link type 9: 20 and cut short: 3." in text
