"""``netwatch ask``: the only verb that sends questions. Each is named, limited, agreed to, and stands in the record."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import threading
import time
from argparse import ArgumentParser, Namespace
from collections.abc import Iterable, Iterator
from ipaddress import IPv4Address, IPv4Interface
from pathlib import Path
from typing import TYPE_CHECKING

from .. import private
from ..exits import Exit, Stop
from . import new_file, options, outcome
from .consent import agree
from .output import colour, complain, say, width

if TYPE_CHECKING:
    from ..asking.questions import Asking, Card
    from ..asking.sender import Sender
    from ..packets.live import LiveSource
    from ..plan.rig import Plan
    from ..settings import Settings
    from .session import Session

SUMMARY = "ask the network once, on request: dhcp, artnet or arp; says first what it disturbs"
EXAMPLES = (
    ("netwatch ask dhcp --on eth0", "who gives addresses, and with what"),
    ("netwatch ask artnet --on eth0", "which nodes there are, with which outputs"),
    ("netwatch ask arp --plan rig.toml --on eth0", "which boxes of the plan answer"),
)
_WHAT = {
    "dhcp": ("who gives addresses: one DISCOVER, never a REQUEST", EXAMPLES[0:1]),
    "artnet": ("which Art-Net nodes there are: one ArtPoll", EXAMPLES[1:2]),
    "arp": ("who has the addresses of the plan, those that are heard, or a range", EXAMPLES[2:3]),
}
LISTEN_S = 10.0
"""Before boxes that were heard are asked (common practice, no source)."""


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    what = parser.add_subparsers(dest="what", required=True, metavar="WHAT")
    for name, (summary, examples) in _WHAT.items():
        part = what.add_parser(name, help=summary)
        part.summary, part.examples = summary, examples  # type: ignore[attr-defined]
        part.add_argument("--on", metavar="NAME", help="ask on this interface; needed where several are up")
        if name == "dhcp":
            part.add_argument("--inform", action="store_true", help="ask for settings alone (INFORM): nothing is offered at all")
        if name == "arp":
            part.add_argument("--sweep", nargs="?", const="", metavar="RANGE", help="the own subnet, or a part as 10.0.1.0/24")
        part.add_argument("--yes", action="count", default=0, help="yes to its question; twice: also in phase 'show'")
        part.add_argument("--keep", type=Path, metavar="FILE", help="write all that is heard meanwhile to this new pcapng file")
        part.add_argument("--json", action="store_true", help="write one JSON document instead of text")
        part.add_argument("--plain", action="store_true", help="text only: no colours")
        options.add_plan(part)
        options.add_settings(part)


def run(arguments: Namespace) -> Exit:
    """Ask, wait, tell. Raises ``Stop``."""
    settings, plan = options.settings(arguments), options.plan(arguments)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # Linux keeps capabilities for each thread
    from ..asking.questions import CannotAsk, too_soon
    from ..packets.machine import CannotListen
    from ..packets.stream import CaptureError
    from ..story import play  # noqa: F401 - all is imported before rights are given up

    memory = _memory()
    try:
        card = _card(arguments.on)
        prepared = _before(arguments, card, plan)
        early = too_soon(_remembered(memory), time.time_ns())
        if early:
            raise Stop(Exit.USAGE, early)
        with contextlib.ExitStack() as stack:
            source, sender = _open(card, stack)
            session = _session(source, settings, arguments.keep, plan)
            stack.callback(session.stop)
            session.start()
            asking = prepared or _heard(session, card)
            if not _agreed(arguments, asking, settings, plan):
                complain("Nothing was sent.")
                return Exit.FINE
            _remember(memory)
            _send(session, sender, asking)
        return _end(session, settings, arguments)
    except CannotAsk as error:
        raise Stop(Exit.USAGE, str(error)) from None
    except (CannotListen, CaptureError) as error:
        raise Stop(Exit.UNREADABLE, str(error)) from None


# ---- what is asked ----


def _card(name: str | None) -> Card:
    """The card that asks: its own MAC and addresses. Raises ``CannotListen`` or ``CannotAsk``."""
    from ..asking.questions import CannotAsk, Card
    from ..packets.choose import candidates
    from ..packets.machine import interfaces, usable

    if name is None:
        up = candidates(interfaces())
        if len(up) != 1:
            raise CannotAsk(f"Say on which interface to ask, as --on {up[0] if up else 'eth0'}; those that are up: "
                            f"{', '.join(up) or 'none'}.")  # fmt: skip
        name = up[0]
    found = usable(name)
    if not found.mac:
        raise CannotAsk(f"{name} has no MAC address, so there is no Ethernet to ask on; choose a wired or Wi-Fi interface.")
    return Card(name, found.mac, tuple(IPv4Interface(each) for each in found.networks))


def _before(arguments: Namespace, card: Card, plan: Plan | None) -> Asking | None:
    """The question, as far as it is known before anything is heard; None = it is for what is heard. Raises ``CannotAsk``."""
    from ..asking import questions
    from ..plan.addresses import BadAddress, network

    if arguments.what == "dhcp":
        return questions.dhcp(card, inform=arguments.inform)
    if arguments.what == "artnet":
        return questions.artnet(card)
    if arguments.sweep is not None:
        try:
            return questions.sweep(card, network(arguments.sweep) if arguments.sweep else None)
        except BadAddress as error:
            raise Stop(Exit.USAGE, f"--sweep: {error}.") from None
    if plan is None:
        return None
    return questions.arp(card, _near(card, (each.address for each in plan.devices if each.address)), "addresses of the plan")


def _near(card: Card, addresses: Iterable[IPv4Address]) -> list[IPv4Address]:
    """Those of the own subnets: others would not be asked for on this wire."""
    return [each for each in addresses if any(each in own.network for own in card.addresses)]


def _heard(session: Session, card: Card) -> Asking:
    """The addresses that were heard in the first seconds. Raises ``CannotAsk``."""
    from ..asking import questions

    complain(f"Listening for {LISTEN_S:.0f} s, to know whom to ask ...")
    session.wait(LISTEN_S)
    found = [IPv4Address(address) for host in session.snapshot().hosts if not host.ours for address in host.addresses]
    return questions.arp(card, _near(card, found), "addresses that were heard")


# ---- asking ----


def _open(card: Card, stack: contextlib.ExitStack) -> tuple[LiveSource, Sender]:
    """Ears and mouth are opened, then rights go for good."""
    from ..asking.sender import Sender
    from ..packets import rights
    from .watch import listening

    sender = Sender(card.name)
    stack.callback(sender.close)
    for port in (6454, 68):
        stack.enter_context(_held(port))
    source = listening([card.name])
    rights.drop()
    return source, sender


@contextlib.contextmanager
def _held(port: int) -> Iterator[None]:
    """Where no program listens for the answers, the system would complain to who answers; a program that does is left alone."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as made:
        with contextlib.suppress(OSError):  # taken, or not ours to take
            made.bind(("", port))
        yield


def _session(source: LiveSource, settings: Settings, keep: Path | None, plan: Plan | None) -> Session:
    from ..packets.stream import CaptureError
    from ..story.play import Player
    from .session import Session

    vantage = None if settings.words.vantage == "auto" else settings.words.vantage
    source.say({"phase": settings.words.phase})
    try:
        return Session(source, Player(settings.numbers, vantage, live=True, plan=plan), keep)
    except CaptureError:
        source.close()
        raise


def _agreed(arguments: Namespace, asking: Asking, settings: Settings, plan: Plan | None) -> bool:
    """Whether the person says yes; in a show twice."""
    from ..asking.questions import IN_SHOW

    complain(asking.sentence)
    if not agree("Ask? Type yes: ", arguments.yes, 1):
        return False
    if settings.words.phase != "show" and not _show_now(plan):
        return True
    complain(IN_SHOW)
    return agree("Ask all the same? Type yes: ", arguments.yes, 2)


def _show_now(plan: Plan | None) -> bool:
    """By the plan's times."""
    from ..plan.expectation import turns

    phases = [phase for at, phase in (turns(plan) if plan is not None else ()) if at <= time.time_ns()]
    return phases[-1:] == ["show"]


def _send(session: Session, sender: Sender, asking: Asking) -> None:
    """Sent, noted, and waited for."""
    from ..asking.questions import WAIT_S

    session.source.say({"sent": asking.event, "asked": asking.facts})
    stop = threading.Event()
    try:
        sender.send(asking.frames, stop)
        session.wait(WAIT_S)
    except KeyboardInterrupt:
        stop.set()
        complain("Stopped.")


def _end(session: Session, settings: Settings, arguments: Namespace) -> Exit:
    """The answers; the exit code as for a watch."""
    from ..report.asked import render

    snapshot = session.snapshot()
    if session.problem:
        complain(session.problem)
    if arguments.json:
        outcome.tell(outcome.evidence(snapshot, [str(arguments.keep)] if arguments.keep else []), session.source.files, arguments)
    else:
        say(render(snapshot, colour=colour(plain=arguments.plain), width=width()))
    if any(each.rivals for each in snapshot.asked[-1].answers):
        return Exit.ALERTS
    return outcome.verdict(snapshot, session.source.files, settings.words.fail_on, trusted=session.player.trusted)


# ---- one a minute ----


def _memory() -> Path:
    from platformdirs import user_state_path

    return user_state_path("netwatch") / "asked.json"


def _remembered(memory: Path) -> int | None:
    try:
        last = json.loads(memory.read_text(encoding="utf-8")).get("at")
    except (OSError, ValueError, AttributeError):
        return None
    return last if isinstance(last, int) else None


def _remember(memory: Path) -> None:
    """A folder that can't be written is no reason to stop."""
    with contextlib.suppress(OSError, Stop):
        private.folder(memory.parent)
        new_file.write(memory, json.dumps({"at": time.time_ns()}).encode())
