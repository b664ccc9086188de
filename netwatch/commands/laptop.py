"""``netwatch laptop``: the laptop's own state, before anything else is believed."""

from __future__ import annotations

import json
import os
import platform
import sys
import time
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from ..exits import Exit, Stop
from .output import colour, complain, say, width

if TYPE_CHECKING:
    from ..numbers import Numbers
    from ..packets.batch import Item, Port
    from ..packets.firewall import Firewall
    from ..packets.machine import Interface
    from ..story.own_laptop import Laptop
    from ..story.play import Player

SUMMARY = "this laptop itself: interfaces, addresses, what is in the way, and what to do"
EXAMPLES = (
    ("netwatch laptop", "each interface, and what is wrong with this laptop"),
    ("netwatch laptop --listen", "and what is heard on each; sends nothing"),
    ("netwatch laptop --tonight", "at home: what would fail in a tent without internet"),
)
LISTEN_S, LEAST_S = 10.0, 3.0
NS = 1_000_000_000
_STEP = 10 * NS
"""Rules about the laptop look on this grid."""
_CARDS = ("wired", "wifi", "unknown")


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument("--on", action="append", metavar="NAME", help="only this interface; may be given several times")
    parser.add_argument(
        "--listen", nargs="?", type=_seconds, const=LISTEN_S, metavar="SECONDS",
        help=f"listen on each interface with a link, and tell what is heard (default: {LISTEN_S:g} s)",
    )
    parser.add_argument("--tonight", action="store_true", help="instead: what would fail in a tent without internet")
    parser.add_argument("--plain", action="store_true", help="text only: no colours")
    parser.add_argument("--json", action="store_true", help="write one JSON document")


def _seconds(text: str) -> float:
    value = float(text)
    if not LEAST_S <= value <= 3_600:
        raise ValueError(text)
    return value


def run(arguments: Namespace) -> Exit:
    """Look, tell; 4 = something is wrong that makes findings doubtful, or that would fail tonight. Raises ``Stop``."""
    if arguments.tonight:
        return _tonight(arguments)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # rights go thread by thread: numpy must not start any before
    from ..report.laptop import render
    from ..story.own_laptop import document

    laptop = _look(arguments.on, arguments.listen)
    if arguments.json:
        say(json.dumps(document(laptop), indent=2, allow_nan=False))
    else:
        say(render(laptop, colour=colour(plain=arguments.plain), width=width()))
    return Exit.FINE if laptop.sound else Exit.NOT_TRUSTED


def _tonight(arguments: Namespace) -> Exit:
    from ..report.tonight import render
    from ..words.tonight import WRONG
    from . import tonight

    found = list(tonight.items(_numbers()))
    if arguments.json:
        say(json.dumps(tonight.document(found), indent=2))
    else:
        say(render(found, colour=colour(plain=arguments.plain), width=width()))
    return Exit.NOT_TRUSTED if any(each.state == WRONG for each in found) else Exit.FINE


def _numbers() -> Numbers:
    """The settings in force. Raises ``Stop``."""
    from ..settings import SettingsError, load

    try:
        return load({}).numbers
    except SettingsError as error:
        raise Stop(Exit.USAGE, str(error)) from None


def _look(names: list[str] | None, seconds: float | None) -> Laptop:
    """What the system tells; what is heard, if that was asked for."""
    from ..packets import details, firewall
    from ..packets.machine import interfaces
    from ..story.own_laptop import Laptop, card, heard_on, wrong

    known = interfaces()
    shown = _shown(known, names)
    told, walls = details.details({each.name: each.kind for each in shown}), firewall.firewalls(each.name for each in shown)
    here = _here(shown, named=bool(names))
    player = _listened(here, walls, seconds) if seconds is not None else _asked(here, walls, known)
    snapshot = player.snapshot()
    facts = {each.name: _facts(each, known) for each in shown}
    takes = _takes(known)
    cards = tuple(
        card(each, told[each.name], walls[each.name], facts[each.name], takes.get(each.name, ()),
             heard_on(snapshot, each.name) if seconds is not None and each in here else None, used=each in here)
        for each in shown
    )  # fmt: skip
    return Laptop(system(), _version(), time.time_ns(), seconds, cards, wrong(snapshot))


def system() -> str:
    """Linux, macOS or Windows."""
    return {"darwin": "macOS", "win32": "Windows"}.get(sys.platform, "Linux")


def _version() -> str:
    if sys.platform.startswith("linux"):
        try:
            return platform.freedesktop_os_release().get("PRETTY_NAME", "Linux")
        except OSError:
            return "Linux"
    return f"{system()} {platform.mac_ver()[0] if sys.platform == 'darwin' else platform.release()}"


def _shown(known: Mapping[str, Interface], names: list[str] | None) -> list[Interface]:
    """Those that were named, else all but the loopback: cards first."""
    from ..packets.machine import CannotListen, usable

    for name in names or ():
        if name not in known:
            try:
                usable(name)
            except CannotListen as error:
                raise Stop(Exit.UNREADABLE, str(error)) from None
    wanted = [known[name] for name in dict.fromkeys(names)] if names else list(known.values())
    loop = [each for each in wanted if any(text.startswith("127.") for text in each.networks) or each.name == "lo"]
    found = wanted if names else [each for each in wanted if each not in loop]
    return sorted(found, key=lambda each: (each.kind not in _CARDS, not each.link, each.name))


def _here(shown: list[Interface], *, named: bool) -> list[Interface]:
    """Those by which the laptop is plugged into something: cards; what was named; and where there is no card, all with a link."""
    linked = [each for each in shown if each.link]
    cards = [each for each in linked if each.kind in _CARDS]
    return linked if named or not cards else cards


def _facts(each: Interface, known: Mapping[str, Interface]) -> dict[str, Any]:
    from ..packets import around, machine

    return machine.facts(each) | around.Around().facts(known, each.name)


def _takes(known: Mapping[str, Interface]) -> dict[str, list[str]]:
    """What the system sends into each tunnel and virtual network."""
    from ..packets import around

    found: dict[str, list[str]] = {}
    for way in around.tunnels(known, ""):
        found.setdefault(way["by"], []).append(way["to"])
    return found


# ---- the same rules as in a watch ----


def _player(wait: float) -> Player:
    """One that judges at once: a person asks now, and does not wait a minute. ``wait`` = s after which silence is told."""
    from ..story.play import Player

    numbers = _numbers()
    silence = min(numbers.nothing_heard_s, wait)
    at_once = replace(numbers, own_address_wait_s=0.0, two_interfaces_s=0.0, tunnel_s=0.0, no_link_s=0.0, nothing_heard_s=silence)
    return Player(at_once, live=True)


def _asked(here: list[Interface], walls: Mapping[str, Firewall | None], known: Mapping[str, Interface]) -> Player:
    """Judged by what the system tells alone: two marks, one on each side of a step of the grid."""
    from ..packets import machine
    from ..packets.batch import Mark

    player = _player(60.0)
    ports = tuple(machine.port(each, machine.ETHERNET, "sockets") for each in here)
    step = time.time_ns() // _STEP * _STEP
    for when in (step - NS // 2, step + NS // 2):
        for number, each in enumerate(here):
            player.feed(Mark(when, number, None, None, _facts(each, known) | _blocked(walls[each.name]), ports))
    player.finish()
    return player


def _listened(here: list[Interface], walls: Mapping[str, Firewall | None], seconds: float) -> Player:
    """Judged by what is heard, too. Times are moved so that a step of the grid falls one second before the end."""
    from ..packets import rights
    from ..packets.machine import CannotListen
    from .watch import opened

    cannot = rights.cannot_listen()
    if cannot is not None:
        raise Stop(Exit.UNREADABLE, cannot)
    player = _player(seconds - 2)
    if not here:
        return player
    try:
        source = opened([each.name for each in here])
    except CannotListen as error:
        raise Stop(Exit.UNREADABLE, str(error)) from None
    complain(f"Listening for {seconds:g} s on {', '.join(each.name for each in here)}; nothing is sent.")
    try:
        for item in _moved(source.items(seconds), seconds, source.ports, walls):
            player.feed(item)
    finally:
        source.close()
    player.finish()
    return player


def _moved(
    items: Iterator[Item], seconds: float, ports: tuple[Port, ...], walls: Mapping[str, Firewall | None]
) -> Iterator[Item]:
    from ..packets.batch import Mark

    back = (time.time_ns() + round((seconds - 1) * NS)) % _STEP
    for item in items:
        if isinstance(item, Mark):
            facts = item.facts and {**item.facts, **_blocked(walls[ports[item.port].name])}
            yield replace(item, time=item.time - back, facts=facts)
        else:
            yield replace(item, time=item.time - back)


def _blocked(wall: Firewall | None) -> dict[str, Any]:
    """What the firewall's rules keep out, as facts."""
    return {} if wall is None or not wall.blocked else {"blocked": list(wall.blocked), "firewall": wall.name}
