"""``netwatch watch``: listen on this laptop, change nothing, say what goes wrong while it happens."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from argparse import ArgumentParser, Namespace
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from ..exits import Exit, Stop
from . import options, outcome, recording
from .consent import agree
from .output import complain, on_screen, say

if TYPE_CHECKING:
    import numpy as np

    from ..packets.batch import PacketBatch
    from ..packets.live import LiveSource
    from ..plan.rig import Plan
    from ..settings import Settings
    from .glance import Glance
    from .joining import LiveActions
    from .session import Session

SUMMARY = "listen on this laptop and say what goes wrong meanwhile"
EXAMPLES = (
    ("netwatch watch", "pick the interface on which the rig is heard"),
    ("netwatch watch --on eth0", "listen on this one"),
    ("netwatch watch --keep tonight.pcapng", "keep every packet, to replay it later"),
    ("netwatch watch --plan rig.toml", "and say which boxes of the plan are here"),
    ("netwatch watch --join 1-8", "ask for these universes; tells first what it disturbs"),
    ("netwatch watch --phase show --sound", "only what stops the show on top, and a sound for it"),
)


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument("--on", action="append", metavar="NAME", help="listen on this interface; may be given several times")
    parser.add_argument("--keep", type=Path, metavar="FILE", help="write all that is heard to this new pcapng file")
    parser.add_argument("--join", metavar="UNIVERSES", help="ask the switch for these universes, as 1-8 or 1,5,9 or 'announced'")
    parser.add_argument(
        "--yes", action="count", default=0, help="with --join: yes to its question; twice: also where it advises to wait"
    )
    parser.add_argument("--sound", action="store_true", help="the terminal's bell, once for each cause that stops the show")
    parser.add_argument("--new-job", action="store_true", help="forget what was left be as known in the job before")
    parser.add_argument("--for", dest="for_", type=seconds, metavar="SECONDS", help="stop after so long")
    recording.add(parser)
    parser.add_argument("--plain", action="store_true", help="lines of text instead of the full screen")
    parser.add_argument("--json", action="store_true", help="write one JSON document at the end")
    parser.add_argument(
        "--page", nargs="?", const="", metavar="WHERE",
        help="serve one page for a second screen: to this laptop only, or WHERE: 'other' (its other connection) or an interface",
    )
    options.add_plan(parser)
    options.add_settings(parser)


def seconds(text: str) -> float:
    value = float(text)
    if not 0 < value < 1e9:
        raise ValueError(text)
    return value


def run(arguments: Namespace, source: LiveSource | None = None) -> Exit:
    """Listen until stopped; ``source`` = it is open already. Raises ``Stop``."""
    settings = options.settings(arguments)
    check_join(arguments.join)
    plan = options.plan(arguments)
    # Linux keeps capabilities for each thread: numpy must not start any before they are given up.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from ..packets.machine import CannotListen
    from ..packets.stream import CaptureError

    prepare()
    from .roll import Roll

    screen = on_screen(arguments)
    if screen:
        from ..screens import app  # noqa: F401 - everything is imported before rights are given up
    try:
        source = source or open_source(arguments.on)
        session = begin(source, settings, arguments, plan)
    except (CannotListen, CaptureError) as error:
        raise Stop(Exit.UNREADABLE, str(error)) from None
    with ExitStack() as ends:
        actions = company(session, settings, arguments, ends)
        sound = "always" if arguments.sound else settings.words.sound
        wish = None if arguments.join is None else Wish(arguments.join, arguments.yes, actions)
        if screen:
            _screen(session, actions, arguments.for_, sound)
        else:
            beside: list[Beside] = [] if wish is None else [wish]
            beside += [] if plan is None or arguments.json else [Roll(session)]
            beside += [recording.Reach(session)] if getattr(arguments, "guard", False) else []
            _lines(session, arguments.for_, beside, sound, quiet=arguments.json)
    return _end(session, settings, arguments, screen=screen)


def prepare() -> None:
    """Import all before a socket is opened: what arrives meanwhile would overflow it, and rights go soon.

    Later two threads would import, and a Ctrl-C just then would lock one of them out (numpy.unique loads numpy.ma when it is
    first called).
    """
    import numpy.ma  # noqa: F401 # isort: skip
    from ..story import bell, play  # noqa: F401
    from . import aside, awake, person, telling, told  # noqa: F401


def company(session: Session, settings: Settings, arguments: Namespace, ends: ExitStack) -> LiveActions:
    """Start a session and what goes along with it; ``ends`` takes down how all of it ends, the last one first."""
    from . import aside, awake, person, telling

    actions = _actions(session, settings)
    actions.page = glance = None if arguments.page is None else _glance(arguments.page, session)
    said = person.Person(session, actions, new_job=arguments.new_job)
    talk = telling.Telling(session, settings, session.tell)
    session.start()
    ends.callback(said.end)
    ends.callback(talk.close)
    ends.callback(session.stop)
    power = awake.Power(session.source.say, settings.numbers.battery_low_min * 60)
    ends.callback(aside.Aside(power.look, talk.look).close)
    if glance is not None:
        glance.start()
        ends.callback(glance.close)
    if settings.words.awake == "yes":
        kept = awake.Awake()
        complain(kept.told)
        ends.callback(kept.close)
    ends.callback(said.close)
    ends.callback(actions.close)
    ends.callback(lambda: _warn(actions.before_quit()))
    return actions


def _warn(warning: str | None) -> None:
    if warning:
        complain(warning)


# ---- the source ----


def open_source(names: list[str] | None) -> LiveSource:
    """The best source that this laptop allows, on the named interfaces or on the one where the rig is heard."""
    from ..packets import rights

    cannot = rights.cannot_listen()
    if cannot is not None:
        return _limited(names, cannot)
    if names:
        return opened(names)
    from ..packets.choose import candidates, choose
    from ..packets.machine import interfaces

    source = opened(candidates(interfaces()))
    if len(source.ports) > 1:
        choice = choose(source, counts)
        complain(choice.why)
        source.only([choice.name])
    else:
        complain(f"Listening on {source.ports[0].name}: it is the only interface that is up.")
    return source


def opened(names: list[str]) -> LiveSource:
    """Rights go for good before the first packet is read, and before a file is made: it shall belong to the caller."""
    from ..packets import rights

    source = listening(names)
    rights.drop()
    return source


def _limited(names: list[str] | None, cannot: str) -> LiveSource:
    """Without rights: what programs on this laptop get anyway."""
    from ..packets.plain import LIMITED, PlainSource

    complain(f"{LIMITED} {cannot}")
    source = PlainSource(names or ())
    for port, program in source.left_alone.items():
        complain(f"UDP port {port} belongs to {program} and is left alone: what comes to it can't be seen.")
    return source


def listening(names: list[str]) -> LiveSource:
    if sys.platform.startswith("linux"):
        from ..packets.ring import RingSource

        return RingSource(names)
    from ..packets.library import LibrarySource

    return LibrarySource(names)


def counts(batch: PacketBatch) -> dict[str, np.ndarray]:
    """Which rows speak for an interface, most telling first."""
    from ..decode.columns import decode
    from ..decode.tables import Kind

    kind = decode(batch).frames.kind
    light = ((kind >= Kind.E131_DATA) & (kind <= Kind.ARTNET_OTHER)) | (kind == Kind.BROKEN)
    return {"light": light, "ARP": kind == Kind.ARP, "DHCP": kind == Kind.DHCP}


def begin(source: LiveSource, settings: Settings, arguments: Namespace, plan: Plan | None) -> Session:
    """A session that is not started yet. Raises ``CaptureError`` where --keep can't be written."""
    from ..packets.stream import CaptureError
    from ..story.play import Player
    from .session import Session

    vantage = None if settings.words.vantage == "auto" else settings.words.vantage
    player = Player(settings.numbers, vantage, live=True, plan=plan)
    # It stands in the input, so that what is kept says it, too.
    source.say({"phase": settings.words.phase})
    kept = recording.begin(arguments, settings)
    try:
        session = Session(source, player, arguments.keep, kept)
    except CaptureError:
        source.close()
        raise
    return session


def _glance(where: str, session: Session) -> Glance:
    """The page for a second screen, and where it is. Raises ``Stop``."""
    from ..packets.machine import interfaces
    from ..report import glance as drawn
    from ..words import glance as words
    from .glance import LOOPBACK, Glance, place

    address, warning = place(where, interfaces(), session.source.ports[0].name)
    if warning:
        complain(warning)
    served = Glance(address, lambda: drawn.page(session.snapshot()))
    complain(words.told(served.address, address == LOOPBACK))
    if address != LOOPBACK and sys.stderr is not None and sys.stderr.isatty():
        print(served.code(), file=sys.stderr)
    return served


# ---- joining ----


def _actions(session: Session, settings: Settings) -> LiveActions:
    from platformdirs import user_state_path

    from .joining import LiveActions

    actions = LiveActions(session, settings.words.join, user_state_path("netwatch") / "joined.json")
    colours_the_view = actions.earlier()
    if colours_the_view:
        complain(colours_the_view)
    return actions


def check_join(universes: str | None) -> None:
    """A slip in --join is told before anything is opened."""
    if universes is None:
        return
    from ..asking.consent import BadUniverses, parse

    try:
        parse(universes)
    except BadUniverses as error:
        raise Stop(Exit.USAGE, str(error)) from None


class Wish:
    """--join: asked once the first look is over, and joined when the person agrees."""

    def __init__(self, universes: str, yes: int, actions: LiveActions) -> None:
        self._universes, self._yes, self._actions = universes, yes, actions
        self._open = True

    @property
    def settled(self) -> bool:
        """It was asked and answered."""
        return not self._open

    def look(self) -> None:
        """Join when it is time; afterwards follow what is announced."""
        if not self._open:
            self._actions.follow()
        elif self._actions.wait() <= 0:
            self._open = False
            try:
                self._settle()
            except ValueError as error:
                complain(str(error))

    def _settle(self) -> None:
        sentence = self._actions.before_join(self._universes)
        question = self._actions.ask(self._universes)
        complain(sentence)
        agreed = not question.join or self._agree("Join? Type yes: ", 1)
        if agreed and question.join and question.second:
            complain(question.second)
            agreed = self._agree("Join all the same? Type yes: ", 2)
        complain(self._actions.join(self._universes) if agreed else "Nothing was joined.")

    def _agree(self, prompt: str, least: int) -> bool:
        """By setting, by --yes given so often, or by word on a terminal."""
        return self._actions.unasked or agree(prompt, self._yes, least)


# ---- lines of text, or the screen ----


class Beside(Protocol):
    """Something that is looked after while lines are told."""

    def look(self) -> None: ...


def _lines(session: Session, seconds: float | None, beside: Sequence[Beside], sound: str, *, quiet: bool) -> None:
    """One line for each thing that happens, until the time is over, the input ends, or Ctrl-C."""
    from ..story.bell import Bell
    from .told import Told

    end = None if seconds is None else time.monotonic() + seconds
    told, calm, shown, bell = 0, 0.0, Told(), Bell(sound) if sound != "never" else None
    _as_ctrl_c()
    try:
        while True:
            left = 0.25 if end is None else min(0.25, end - time.monotonic())
            over = left <= 0 or session.wait(left)
            news = session.happenings(told)
            told += len(news)
            for each in beside:
                each.look()
            calm = time.monotonic() + BELL_S if news else calm
            if bell is not None and time.monotonic() < calm and bell.rings(session.snapshot()):
                print("\a", end="", file=sys.stderr, flush=True)
            for line in () if quiet else shown.lines(news, session.player.clock.now or 0, last=over):
                say(f"{time.strftime('%H:%M:%S', time.localtime(line.at / 1e9))}  {line.what:8}  {line.text}")
            if over:
                return
    except KeyboardInterrupt:
        complain("Stopped.")


BELL_S = 3.0
"""After the last news: so long an alert may wait for what explains it."""


def _as_ctrl_c() -> None:
    """A laptop that shuts down, or a terminal that is closed, ends a watch as Ctrl-C does; under nohup it goes on."""
    if threading.current_thread() is not threading.main_thread():
        return
    for number in (signal.SIGTERM, *([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])):
        if signal.getsignal(number) is signal.SIG_DFL:
            signal.signal(number, signal.default_int_handler)


def _screen(session: Session, actions: LiveActions, seconds: float | None, sound: str) -> None:
    from ..screens.app import NetwatchApp

    app = NetwatchApp(session, actions=actions, sound=sound)
    end = threading.Timer(seconds, lambda: app.call_from_thread(app.exit)) if seconds is not None else None
    if end is not None:
        end.daemon = True
        end.start()
    app.run()
    if end is not None:
        end.cancel()


def _end(session: Session, settings: Settings, arguments: Namespace, *, screen: bool) -> Exit:
    """What was found, as ``replay`` would tell it."""
    snapshot = session.snapshot()
    for told in (session.problem, recording.ended(session)):
        if told:
            complain(told)
    if arguments.json:
        snapshot = outcome.evidence(snapshot, [str(arguments.keep)] if arguments.keep else [])
    if not screen:
        outcome.tell(snapshot, session.source.files, arguments)
    return outcome.verdict(snapshot, session.source.files, settings.words.fail_on, trusted=session.player.trusted)
