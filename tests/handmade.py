"""Snapshots made by hand: an evening at Hollowbrook Garden, an invented winter light trail."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from netwatch import words
from netwatch.packets.batch import FileSeen
from netwatch.story.snapshot import (
    AlertView,
    Check,
    GroupView,
    HostView,
    Limit,
    Listening,
    LoadView,
    QuerierView,
    ServerView,
    Snapshot,
    StreamView,
)

NS = 1_000_000_000
START = 1_795_627_331 * NS + 506_315_499
"""Wed 25 Nov 2026, 17:22:11 UTC, with a rest of nanoseconds."""
DESK = "5f1c0a9e3b7d4c2d8e6f001122334455"
GATEHOUSE, POND, STRANGER, LAPTOP = (f"02:00:00:00:00:{n:02x}" for n in (0x10, 0x21, 0x66, 0x99))
FILES = (FileSeen("hollowbrook.pcapng", 1, 3714),)


def at(seconds: float) -> int:
    """ns of a moment after the start."""
    return START + round(seconds * NS)


def alert(id: int, code: str, severity: str, facts: Mapping[str, Any], **changes: Any) -> AlertView:
    """An open alert that began at second ``id``, with its own words."""
    steps = words.steps(code, facts)
    made = AlertView(
        id=id,
        code=code,
        severity=severity,
        certainty="likely",
        interface="eth0",
        vlan=None,
        subject="rig",
        title=words.title(code, facts),
        first_step=steps[0][0],
        since=at(id),
        opened=at(id + 1),
        last=at(60),
        closed=None,
        times=1,
        again=None,
        accepted=None,
        facts=facts,
        packets=(),
        steps=steps,
        over=None,
        under=(),
        about_laptop=False,
        bytes={},
    )
    return replace(made, **changes)


def stream(universe: int, **changes: Any) -> StreamView:
    """The gatehouse desk on one universe."""
    made = StreamView(
        interface="eth0",
        vlan=None,
        protocol="e131",
        universe=universe,
        source=DESK,
        name="Gatehouse desk",
        address="10.0.0.10",
        priority=100,
        packets=2640,
        lost=0,
        out_of_order=0,
        repeated=0,
        rate=44.0,
        rate_now=44.0,
        first=START,
        last=at(60),
        silent=False,
        ended=False,
        preview=False,
        destination="group",
        slots=512,
        lit=96,
        last_change=at(59),
    )
    return replace(made, **changes)


def host(mac: str, addresses: tuple[str, ...], names: tuple[tuple[str, str], ...] = (), **changes: Any) -> HostView:
    """A box."""
    made = HostView("eth0", None, mac, "", addresses, names, START, at(60), False, "")
    return replace(made, **changes)


def empty(**changes: Any) -> Snapshot:
    """Nothing was heard."""
    made = Snapshot(
        revision=1,
        now=START,
        first=None,
        last=None,
        packets=0,
        bytes=0,
        dropped=0,
        phase="building",
        live=False,
        listening=(),
        undecoded={},
        limits=(),
        settings={},
        alerts=(),
        checks=(),
        streams=(),
        hosts=(),
        servers=(),
        queriers=(),
        groups=(),
        loads=(),
        happenings=(),
    )
    return replace(made, **changes)


def clean(**changes: Any) -> Snapshot:
    """A healthy minute on an ordinary port."""
    made = empty(
        now=at(60),
        first=START,
        last=at(60),
        packets=3714,
        bytes=2_550_000,
        listening=(
            Listening(
                "eth0",
                "ordinary",
                ("own MAC heard", "3 other boxes heard for 60 s"),
                "wired",
                "up 1000 Mbit/s",
                ("10.0.0.99/16",),
                3714,
                0,
            ),
        ),
        limits=(Limit("hosts", 4096, 4, 0, 0, None),),
        checks=(
            Check("This laptop can be trusted", "FINE", "Nothing was dropped."),
            Check("One DHCP server", "FINE", "Only 10.0.0.1 was named."),
            Check("Multicast will hold", "NOT YET", "Known at 17:26, when a second query is due."),
            Check("Nothing floods", "NOT FROM HERE", "Plug into a mirror port to see it."),
        ),
        streams=tuple(stream(u) for u in range(1, 25)),
        hosts=(
            host(GATEHOUSE, ("10.0.0.10",), (("Gatehouse desk", "sACN"),)),
            host(POND, ("10.0.0.21",), (("Mill pond node", "Art-Net"),)),
            host(LAPTOP, ("10.0.0.99",), ours=True),
        ),
        servers=(ServerView("eth0", None, "10.0.0.1", "", ("request",), START, at(20), 3),),
        queriers=(QuerierView("eth0", None, "10.0.0.254", 2, 1, None, at(4)),),
        groups=(GroupView("eth0", None, "239.255.0.7", 7, "wanted", at(1), at(5), at(60), 2),),
        loads=(LoadView("eth0", None, "e131", 3600, 2_500_000),),
    )
    return replace(made, **changes)


def troubled(**changes: Any) -> Snapshot:
    """The same minute with a second server, a fight, and a drop that explains two silences."""
    servers = {
        "servers": ["10.0.0.1", "192.168.77.1"],
        "macs": [],
        "same_subnet": False,
        "refused": True,
        "clients": 5,
    }
    fight = {"universe": 12, "protocol": "e131", "a": "Gatehouse desk", "b": "Orchard", "channels": 37, "priority": 100}
    gone = [{"universe": u, "protocol": "e131", "last": at(30 + u / 100), "sources": ["Gatehouse desk"]} for u in (7, 8)]
    drop = {"universes": [7, 8], "after_s": 13.0, "group": "239.255.0.7", "back": False}
    made = clean(
        checks=(
            Check("This laptop can be trusted", "FINE", "Nothing was dropped."),
            Check("One DHCP server", "WRONG", words.title("two-dhcp-servers", servers), 1),
            Check("Nothing floods", "NOT FROM HERE", "Plug into a mirror port to see it."),
        ),
        alerts=(
            alert(1, "two-dhcp-servers", "soon", servers, certainty="certain", packets=(12, 40, 41), bytes={12: "ff" * 4}),
            alert(2, "sources-fighting", "now", fight, subject="universe:12", closed=at(40), times=2),
            alert(3, "multicast-dropped", "now", drop, subject="group:239.255.0.7", under=(4, 5)),
            *(alert(i, "universe-silent", "now", f, over=3, subject=f"universe:{f['universe']}") for i, f in enumerate(gone, 4)),
            alert(6, "source-ended", "note", {"who": "Boathouse", "universes": [30], "protocol": "e131"}),
        ),
        streams=(
            *(stream(u, lost=32 if u < 7 else 0) for u in range(1, 13)),
            stream(12, source="aa" * 16, name="Orchard", address="10.0.0.31", rate=25.2),
            stream(30, source="bb" * 16, name="Boathouse", address="10.0.0.32", ended=True),
            stream(21, protocol="artnet", source="10.0.0.33/0", name="", address="10.0.0.33", priority=None, rate=None),
        ),
    )
    return replace(made, **changes)
