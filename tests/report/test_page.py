"""The pages. HTML is read with the standard library's parser; layout and words are our own (no outside source).

Content Security Policy Level 3 (W3C) 2.3.1: a hash-source lets exactly one style element in.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from datetime import timedelta, timezone
from html.parser import HTMLParser

import pytest

from netwatch.packets.batch import BatchBuilder, Port
from netwatch.plan.rig import Device, Plan
from netwatch.report import for_it, page, rental
from netwatch.report.brief import Job
from netwatch.report.data import data
from netwatch.report.drawing import LEFT, MOST_TICKS, RIGHT, drawing, scale
from netwatch.report.times import Times
from netwatch.story.assets import assets
from netwatch.story.course import BUCKET, CourseView, Run
from netwatch.story.evening import Evening
from netwatch.story.snapshot import BridgeView, Happening, MarkView, NeighbourView, NodeView, Snapshot
from netwatch.words import report as said
from tests.handmade import DESK, FILES, GATEHOUSE, LAPTOP, NS, POND, START, alert, at, clean, empty, host, troubled
from tests.report.test_text import hostile
from tests.stories import frames

UTC1 = timezone(timedelta(hours=1))
PHONE = "da:a1:19:4c:7e:31"
VOID = frozenset({"meta", "br", "rect", "line", "polygon"})
"""Elements without an end tag, or closed in themselves."""
JOB = Job("Winter light trail", "", "Gatehouse, socket 4", "netwatch 1, rules 1 of 0")
MAKERS = (page.page, rental.page, for_it.page)


class Read(HTMLParser):
    """Elements, attributes and text; counts what is left open."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] != "style":
            self.text += f" {data}"


def evening(snapshot: Snapshot, course: CourseView | None = None) -> Evening:
    builder = BatchBuilder((Port("eth0", 1),), 12)
    builder.add(frames.arp("gatehouse desk", "10.0.0.22"), at(3))
    places = {n: ("hollowbrook.pcapng", n) for n in (12, 40, 41)}
    return Evening(snapshot, FILES, course or ran(), {12: builder.take()}, places)


def ran() -> CourseView:
    runs = tuple(Run("eth0", None, "e131", universe, DESK, (440, 440, 0, 0, 440, 100), (0, 9, 0, 0, 0, 0)) for universe in (1, 2))
    return CourseView(START // BUCKET * BUCKET, BUCKET, runs)


@pytest.mark.parametrize("make", MAKERS)
@pytest.mark.parametrize("shot", [troubled(), clean(), hostile(), empty()], ids=["troubled", "clean", "hostile", "empty"])
def test_every_page_is_whole_and_holds_nothing_but_what_we_wrote(make, shot):
    read = Read(make(evening(shot), JOB, UTC1))
    assert read.open == []
    tags = {tag for tag, _ in read.elements}
    assert tags <= {
        "html", "head", "meta", "title", "style", "body", "header", "h1", "h2", "h3", "dl", "dt", "dd", "span", "section", "div",
        "p", "svg", "line", "text", "polygon", "rect", "article", "ul", "ol", "li", "br", "b", "table", "thead", "tbody", "tr",
        "th", "td", "footer",
    }  # fmt: skip
    for _, attributes in read.elements:
        assert not set(attributes) & {"href", "src", "style", "onload", "onclick", "action"}


@pytest.mark.parametrize("make", MAKERS)
def test_the_policy_lets_our_one_style_in_and_nothing_else(make):
    text = make(evening(troubled()), JOB, UTC1)
    style = text.split("<style>")[1].split("</style>")[0]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    (policy,) = (a["content"] for tag, a in Read(text).elements if tag == "meta" and a.get("http-equiv"))
    assert policy == f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    assert "url(" not in style
    assert "@import" not in style


def test_in_short():
    text = Read(page.page(evening(troubled()), JOB, UTC1)).text
    assert "On Wed 25 Nov 2026 from 18:22:11 to 18:23:11 this laptop listened on eth0 (an ordinary port)" in text
    assert "no packet was dropped on the laptop" in text
    assert "the laptop's link stayed up" in text


def test_what_is_not_known_is_a_blank_to_fill_in():
    read = Read(page.page(evening(troubled()), JOB, UTC1))
    assert "Winter light trail" in read.text
    assert sum(a.get("class") == "blank" for _, a in read.elements) == 1


def test_a_deciding_packet_is_told_field_by_field():
    text = " ".join(Read(page.page(evening(troubled()), JOB, UTC1)).text.split())
    assert "Packet 12 of hollowbrook.pcapng , 18:22:14.506315 60 bytes. It goes to the box" in text
    assert "ARP: a question. The asking or answering box is 02:00:00:00:00:0a" in text
    assert said.NOT_KEPT in text, "of the packets whose bytes are gone"


def test_what_was_fine_and_what_could_not_be_seen():
    text = Read(page.page(evening(troubled()), JOB, UTC1)).text
    for head in (said.FINE, said.UNSEEN, said.SENT_NOTHING):
        assert head in text


def test_what_was_sent_and_marked_stands_there():
    shot = troubled(happenings=(Happening(at(5), "sent", "joined universes 1-3"), Happening(at(9), "word", "pond <b>dark</b>")))
    read = Read(page.page(evening(shot), JOB, UTC1))
    assert "18:22:16 joined universes 1-3" in " ".join(read.text.split())
    assert "Mark: pond <b>dark</b>" in " ".join(read.text.split())
    assert said.SENT_NOTHING not in read.text


def test_a_mark_tells_what_was_open_then():
    read = Read(
        page.page(
            evening(troubled(marks=(MarkView(at(9), "pond dark", (1, 3), ()), MarkView(at(50), "fine <again>", (), ())))),
            JOB,
            UTC1,
        )
    )
    told = " ".join(read.text.split())
    assert "18:22:20 pond dark Open then: NOW, " in told, "the worst first"
    assert "Open then: SOON, Two DHCP servers" in told
    assert "18:23:01 fine <again> No alert was open at that moment." in told


@pytest.mark.parametrize("make", MAKERS)
def test_a_mark_stands_in_every_report(make):
    shot = troubled(
        marks=(MarkView(at(9), "pond <b>dark</b>", (), ()),), happenings=(Happening(at(9), "word", "pond <b>dark</b>"),)
    )
    text = " ".join(Read(make(evening(shot), JOB, UTC1)).text.split())
    assert re.search(r"18:22:20 [\w: -]*pond <b>dark</b>", text)


# ---- people's own devices ----


def with_phone(**changes: object) -> Snapshot:
    facts = {"who": "Marias-iPhone", "address": "169.254.7.9", "asked_dhcp": True, "mac": PHONE}
    return troubled(
        hosts=(
            host(GATEHOUSE, ("10.0.0.10",), (("Gatehouse desk", "sACN"),)),
            host(PHONE, ("10.0.0.77",), (("Marias-iPhone", "DHCP"),)),
            host("00:1b:21:00:00:09", ("10.0.0.78",), (("DESKTOP-7F3", "DHCP"),)), host(LAPTOP, ("10.0.0.99",), ours=True),
            host("00:1b:21:00:00:0a", ("10.0.0.79",), (("boathouse", "DHCP"),)),
        ),
        alerts=(*troubled().alerts, alert(9, "link-local-address", "quality", facts, subject=f"host:{PHONE}")),
        happenings=(Happening(at(9), "opened", "Marias-iPhone found no DHCP server and made up an address", 9),), **changes,
    )  # fmt: skip


@pytest.mark.parametrize("make", MAKERS)
def test_people_are_not_named_unless_asked_for(make):
    shot = with_phone()
    text = make(evening(shot), JOB, UTC1)
    for secret in ("Marias", "iPhone", PHONE, "DESKTOP-7F3", "00:1b:21:00:00:09"):
        assert secret not in text
    assert "boathouse" in text
    named = make(evening(shot), replace(JOB, names=True), UTC1)
    assert "Marias-iPhone" in named
    assert "phone or tablet" not in named
    told = json.dumps(data(evening(shot), JOB, UTC1))
    assert "Marias" not in told
    assert PHONE not in told


def test_who_is_of_the_rig_keeps_its_name():
    """A made-up MAC alone makes no phone: senders and answerers of light are shown."""
    shot = clean(
        hosts=(host(PHONE, ("10.0.0.10",), (("Marias desktop", "sACN"),)),),
        nodes=(NodeView("eth0", None, PHONE, "10.0.0.10", "pond", (1, 1), (3,), START, at(60)),),
    )
    assert PHONE in page.page(evening(shot), JOB, UTC1)


# ---- for the rental house, and for the IT department ----


def test_the_rental_page_bears_the_plans_asset_numbers() -> None:
    shot = evening(
        troubled(hosts=(host(POND, ("10.0.0.21",), (("Mill pond node", "Art-Net"),)), host(GATEHOUSE, ("10.0.0.10",), ())))
    )
    plan = Plan(devices=(
        Device(name="mill pond node", asset="HG-109"), Device(name="gatehouse desk", asset="HG-103", mac=GATEHOUSE),
        Device(name="boathouse", asset="HG-113"), Device(name="no number"),
    ))  # fmt: skip
    planned = replace(shot, assets=assets(shot.snapshot, plan))
    rows = {each.mac: each for each in rental.devices(planned, Times(START, UTC1))}
    assert (rows[POND].asset, rows[POND].name) == ("HG-109", "Mill pond node")
    assert (rows[GATEHOUSE].asset, rows[GATEHOUSE].name) == ("HG-103", "gatehouse desk"), "it tells no name itself"
    assert "Of the plan, but not heard: HG-113 boathouse and no number." in Read(rental.page(planned, JOB, UTC1)).text


def test_lldp_and_spanning_tree_stand_on_the_page_for_it() -> None:
    shot = troubled(
        neighbours=(
            NeighbourView(
                "eth0", None, "02:00:00:00:00:fe", "02:00:00:00:00:fe", "g1", "to the pond", "core <b>", 12, at(1), at(9)
            ),
        ),
        bridges=(
            BridgeView(
                "eth0", 12, "02:00:00:00:00:fe", "4096/02:00:00:00:00:fe", "4096/02:00:00:00:00:fe", 1, 2, 30, 1, at(5), at(1),
                at(9),
            ),
        ),
    )
    read = Read(for_it.page(evening(shot), JOB, UTC1))
    told = " ".join(read.text.split())
    assert "core <b> 02:00:00:00:00:fe g1 to the pond 12" in told
    assert "4096/02:00:00:00:00:fe 1 RSTP eth0, VLAN 12 30 1 18:22:16 2026-11-25 17:22:16" in told
    assert "No spanning tree was heard." in Read(for_it.page(evening(troubled()), JOB, UTC1)).text


def test_a_row_a_device():
    facts = {"address": "10.0.0.21", "macs": [POND, "02:00:00:00:00:31"], "names": ["Mill pond node"], "alternations": 4}
    gone = {"who": "Mill pond node", "protocol": "artnet", "universes": [1]}
    shot = clean(
        alerts=(alert(4, "duplicate-address", "now", facts, certainty="certain"),
                alert(5, "poll-unanswered", "soon", gone, times=2), alert(6, "no-querier", "soon", {})),
        nodes=(NodeView("eth0", None, POND, "10.0.0.21", "Mill pond node", (0x0103, 0x0104), (3,), START, at(60)),),
    )  # fmt: skip
    rows = {each.mac: each for each in rental.devices(evening(shot), Times(START, UTC1))}
    assert list(rows) == [POND, GATEHOUSE], "those with findings first; this laptop is left out"
    pond = rows[POND]
    assert (pond.name, pond.firmware, pond.silent) == ("Mill pond node", "1.3, later 1.4", "2 times: 18:22:16")
    assert [(each.at, each.certainty, each.kind) for each in pond.faults] == [
        ("18:22:15", "certain", said.SETTING),
        ("18:22:16", "likely", said.HARDWARE),
    ]
    assert rows[GATEHOUSE].faults == []


def test_every_code_about_devices_exists():
    from netwatch.alerts.catalogue import RULES

    assert set(said.OF_DEVICES) <= set(RULES)
    assert set(said.GONE) <= set(said.OF_DEVICES)


def test_the_it_page_gives_utc_and_places_in_files():
    text = " ".join(Read(for_it.page(evening(troubled()), JOB, UTC1)).text.split())
    assert "12, 40 and 41 of hollowbrook.pcapng" in text
    assert "2026-11-25 17:22:12" in text
    assert "10.0.0.254" in text


# ---- the drawing ----


def test_the_scale_has_round_local_times():
    """Rounded by the standard library's own clock."""
    for seconds in (20, 592, 7_200, 43_200, 600_000):
        ticks = scale(START, START + seconds * NS, UTC1)
        assert 2 <= len(ticks) <= MOST_TICKS + 1
        assert all(START <= at <= START + seconds * NS for at, _ in ticks)
    assert [text for _, text in scale(START, START + 592 * NS, UTC1)] == [f"18:{minute}" for minute in range(23, 33)]


def test_bars_lie_where_their_time_is():
    shot = troubled()
    drawn = drawing(shot, ran(), UTC1)
    assert drawn is not None
    bars = [box for box in drawn.boxes if box.style.startswith("bar")]
    assert len(bars) == 3, "what another alert explains has no bar of its own"
    fight = next(box for box in bars if "fight" in box.text)
    scale_ = (RIGHT - LEFT) / 60
    assert fight.x == pytest.approx(LEFT + 2 * scale_, abs=0.2)
    assert fight.width == pytest.approx(38 * scale_, abs=0.2)
    strips = [box for box in drawn.boxes if box.style.startswith("strip")]
    assert {box.style for box in strips} == {"strip full", "strip lost", "strip middle"}


def test_nothing_heard_is_no_drawing():
    assert drawing(empty(), None, UTC1) is None
