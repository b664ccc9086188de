"""Snapshots made by hand (an invented light trail), a pull that can be changed, and waiting for a described condition."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from textual.pilot import Pilot

from netwatch.screens.app import NetwatchApp
from netwatch.screens.source import Tape
from netwatch.story import snapshot as s
from netwatch.story.spelled import said

NS = 1_000_000_000
START = 1_764_100_800 * NS
"""25 November 2025, 20:00:00 UTC."""
NAMES = (
    "This laptop can be trusted",
    "The rig is heard",
    "One DHCP server",
    "No address twice",
    "All on one network",
    "Light arrives",
    "One sender a universe",
    "Multicast will hold",
    "Nothing gets lost",
    "Nothing floods",
    "As planned",
)


def at(seconds: float) -> int:
    """ns since 1970 of a moment of the evening."""
    return START + int(seconds * NS)


def alert(number: int, severity: str = "soon", title: str = "", **more: Any) -> s.AlertView:
    """An open alert with one step."""
    given: dict[str, Any] = {
        "id": number,
        "code": "two-dhcp-servers",
        "severity": severity,
        "certainty": "certain",
        "interface": "eth0",
        "vlan": None,
        "subject": "rig",
        "title": title or f"Alert number {number}",
        "first_step": "Unplug the box that should not give addresses.",
        "since": at(60 + number),
        "opened": at(62 + number),
        "last": at(700),
        "closed": None,
        "times": 1,
        "again": None,
        "accepted": None,
        "facts": {"servers": ["10.0.0.1", "10.0.0.77"]},
        "packets": (12, 340),
        "steps": (("Unplug the box that should not give addresses.", "Boxes that got an address from it keep it for a while."),),
        "over": None,
        "under": (),
        "about_laptop": False,
        "bytes": {},
    }
    return s.AlertView(**(given | more))


def stream(universe: int, **more: Any) -> s.StreamView:
    """A source that sends."""
    given: dict[str, Any] = {
        "interface": "eth0",
        "vlan": None,
        "protocol": "e131",
        "universe": universe,
        "source": f"{universe:032x}",
        "name": "Gatehouse desk",
        "address": "10.0.0.21",
        "priority": 100,
        "packets": 30_000,
        "lost": 0,
        "out_of_order": 0,
        "repeated": 0,
        "rate": 43.9,
        "rate_now": 44.0,
        "first": at(2),
        "last": at(759),
        "silent": False,
        "ended": False,
        "preview": False,
        "destination": "group",
        "slots": 512,
        "lit": 212,
        "last_change": at(758),
    }
    return s.StreamView(**(given | more))


def host(last_byte: int, **more: Any) -> s.HostView:
    """A box with one address."""
    given: dict[str, Any] = {
        "interface": "eth0",
        "vlan": None,
        "mac": f"02:00:00:00:00:{last_byte:02x}",
        "vendor": "",
        "addresses": (f"10.0.0.{last_byte}",),
        "names": ((f"Orchard {last_byte}", "poll reply"),),
        "first": at(3),
        "last": at(755),
        "ours": False,
        "lease_from": "10.0.0.1",
    }
    return s.HostView(**(given | more))


def checks() -> tuple[s.Check, ...]:
    """Every state is among them; one is wrong because of alert 1."""
    states = (
        ("FINE", "nothing dropped, clock steady"),
        ("FINE", "14 boxes, 3 sources"),
        ("WRONG", "10.0.0.1 and 10.0.0.77 both answer"),
        ("FINE", "12 addresses, each from one box"),
        ("NOT YET", "known at 20:13 if it stays quiet"),
        ("FINE", "universes 1-8 arrive"),
        ("FINE", "no universe has two"),
        ("NOT FROM HERE", "plug into a mirror port to see queries and answers of others"),
        ("FINE", "0 of 84,000 packets"),
        ("NOT YET", "needs 10 s of light that nobody asked for"),
        ("NOT USED HERE", "no plan was given"),
    )
    return tuple(
        s.Check(name, state, text, 1 if state == "WRONG" else None) for name, (state, text) in zip(NAMES, states, strict=True)
    )


def story_alerts() -> tuple[s.AlertView, ...]:
    """Each severity, one folded, one known, one over."""
    return (
        alert(
            1,
            "now",
            "Two DHCP servers seen: 10.0.0.1 and 10.0.0.77 both hand out addresses",
            first_step="Find the box with MAC 02:00:00:00:00:4d (boathouse) and unplug its network cable.",
        ),
        alert(
            2,
            "now",
            "Multicast dropped after 90 s: the switch stopped passing universe 7 to this laptop",
            certainty="likely",
            first_step="Turn on the querier of the switch, or let one box ask.",
            under=(3,),
        ),
        alert(3, "soon", "Nothing of universe 7 reaches this laptop", over=2),
        alert(
            4,
            "quality",
            "1.2 % of universe 3 gets lost on the way here",
            times=3,
            first_step="Change the cable to the mill pond.",
        ),
        alert(5, "tidy", "Art-Net goes to every box: 9 Mbit/s", first_step="Set the nodes' addresses at the desk."),
        alert(6, "note", "Lantern walk signed off properly", first_step="", steps=()),
        alert(7, "soon", "10.0.0.9 found no DHCP server and made up an address", accepted={"why": "spare box"}),
        alert(8, "now", "Boathouse went silent: universes 9-12", closed=at(400)),
    )


def snapshot(**more: Any) -> s.Snapshot:
    """An evening with something of everything."""
    listening = s.Listening("eth0", "ordinary", ("its own reports were heard and no traffic between others",), "wired",
                            "up 1000 Mbit/s", ("10.0.0.50/24",), 84_213, 0)  # fmt: skip
    given: dict[str, Any] = {
        "revision": 1,
        "now": at(760),
        "first": at(0),
        "last": at(760),
        "packets": 84_213,
        "bytes": 57_000_000,
        "dropped": 0,
        "phase": "building",
        "live": True,
        "listening": (listening,),
        "undecoded": {},
        "limits": (),
        "settings": {},
        "alerts": story_alerts(),
        "checks": checks(),
        "streams": (
            stream(1),
            stream(2, name="Lantern walk", address="10.0.0.22", lit=0),
            stream(3, name="Mill pond", lost=365, rate_now=43.2),
            stream(7, name="Orchard backup", priority=50, silent=True, last=at(700), rate_now=0.0),
            stream(9, name="Boathouse", ended=True, last=at(400), rate_now=0.0),
            stream(0x7F, protocol="artnet", name="Gatehouse desk", source="10.0.0.21/0", priority=None, destination="broadcast"),
        ),
        "hosts": (
            host(50, names=(), ours=True),
            host(1, names=(("gatehouse-router", "DHCP"),), vendor="Private", lease_from=""),
            host(77, names=(), mac="02:00:00:00:00:4d"),
            host(21, names=(("Gatehouse desk", "sACN"), ("desk-1", "DHCP"))),
            host(30, addresses=()),
            host(31, addresses=("10.0.0.31", "169.254.7.9")),
        ),
        "servers": (s.ServerView("eth0", None, "10.0.0.77", "02:00:00:00:00:4d", ("OFFER",), at(60), at(700), 3),),
        "queriers": (),
        "groups": (),
        "loads": (),
        "happenings": (),
    }
    return s.Snapshot(**(given | more))


class Source:
    """A source whose snapshot a test can change, and which counts how often it was asked."""

    def __init__(self, first: s.Snapshot | None = None, tape: Tape | None = None) -> None:
        self.now = first or snapshot()
        self.pulls = 0
        self.tape = tape
        self.looked: list[tuple[str, int, int | None]] = []
        self.packets: dict[int, bytes] = {}
        self.reading = ""
        self.begun = False

    note = ""

    def begin(self) -> None:
        self.begun = True

    def snapshot(self) -> s.Snapshot:
        self.pulls += 1
        return self.now

    def why(self, protocol: str, universe: int, see: str | None) -> s.Why:
        stations = (
            s.Station("sender", "FINE", ("Gatehouse desk sends it 44 times a second.",), ()),
            s.Station("switch", "WRONG", ("Nobody asks who listens.",), (2,)),
            s.Station("laptop", "FINE", (), ()),
            s.Station("node", "CAN'T SEE", (), ()),
            s.Station("behind", "CAN'T SEE", (), ()),
        )
        return s.Why(protocol, universe, see, self.now.now, stations, "The switch held it back.")

    def look(self, protocol: str, universe: int, channel: int | None = None) -> None:
        self.looked.append((protocol, universe, channel))

    def packet(self, number: int) -> Sequence[s.Said] | None:
        return said(self.packets[number]) if number in self.packets else None

    def change(self, **more: Any) -> None:
        """A newer revision."""
        self.now = replace(self.now, revision=self.now.revision + 1, **more)


class Deeds:
    """Actions that only write down what they were asked for."""

    def __init__(self) -> None:
        self.done: list[tuple[str, str]] = []
        self.times: list[int] = []
        """When marks were meant."""
        self.quitting: str | None = None

    def before_join(self, universes: str) -> str:
        if universes == "0":
            raise ValueError("0 is no universe: sACN has 1 to 63999.")
        return f"Joins universes {universes}: 2 Mbit/s more to this laptop."

    def join(self, universes: str) -> str:
        self.done.append(("join", universes))
        return f"Joined universes {universes}."

    def mark(self, word: str, at: int) -> None:
        self.done.append(("mark", word))
        self.times.append(at)

    def leave(self, alert: int, why: str, *, today: bool) -> None:
        self.done.append(("today" if today else "job", f"{alert} {why}"))

    def heed(self, alert: int) -> None:
        self.done.append(("heed", str(alert)))

    def mended(self, alert: int) -> None:
        self.done.append(("mended", str(alert)))

    def set_phase(self, phase: str) -> None:
        self.done.append(("phase", phase))

    def second_screen(self) -> str | None:
        return "http://127.0.0.1:1/abc\n\n\u2588\u2580 \u2584\n\u2588\u2588\u2588\u2588"

    def earlier(self) -> str | None:
        return None

    def before_quit(self) -> str | None:
        return self.quitting


async def wait_for(pilot: Pilot[None], true: Callable[[], bool], description: str) -> None:
    """Let the app run until it is true; fail with the description where that takes longer than 5 s."""
    for _ in range(250):
        if true():
            return
        await pilot.pause()
        await asyncio.sleep(0.02)
    raise AssertionError(f"never happened: {description}\n{picture(pilot.app)}")


async def seen(pilot: Pilot[None], text: str) -> None:
    """Wait until a text is on the screen."""
    await wait_for(pilot, lambda: text in picture(pilot.app), f"{text!r} is seen")


async def gone(pilot: Pilot[None], text: str) -> None:
    """Wait until a text is no more on the screen."""
    await wait_for(pilot, lambda: text not in picture(pilot.app), f"{text!r} is gone")


def on_cursor(tool: Any) -> str:
    """The line with the cursor."""
    return next((line for line in picture(tool).split("\n") if line.startswith("> ")), "")


def picture(app: Any) -> str:
    """The screen as text."""
    return "\n".join(strip.text.rstrip() for strip in app.screen._compositor.render_strips())


def app(source: Source | None = None, deeds: Deeds | None = None, look: str = "dark") -> NetwatchApp:
    """The app on a made-up evening."""
    return NetwatchApp(source or Source(), actions=deeds, look=look)
