"""``netwatch soak``: before doors, join with consent and listen long enough to see whether light will hold."""

from __future__ import annotations

import json
import os
import time
from argparse import ArgumentParser, Namespace
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from . import new_file, options, recording, watch
from .output import colour, complain, say, width
from .report import program

if TYPE_CHECKING:
    from ..plan.rig import Plan
    from ..settings import Settings
    from ..story.snapshot import Snapshot
    from ..story.soak import Soaked
    from .joining import LiveActions
    from .session import Session

SUMMARY = "before doors: join, listen for minutes, and say whether light will hold"
EXAMPLES = (
    ("netwatch soak --on eth0", "seven minutes, of what controllers announce"),
    ("netwatch soak --plan rig.toml --yes", "of the plan's universes; yes to its question"),
)
NS = 1_000_000_000
TOLD_EACH_S = 60.0


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument("--minutes", type=_minutes, default=7.0, metavar="N", help="listen for so long after joining (7)")
    parser.add_argument("--on", action="append", metavar="NAME", help="listen on this interface")
    parser.add_argument("--join", metavar="UNIVERSES", help="as 1-8 or 1,5,9; else the plan's, or what controllers announce")
    parser.add_argument(
        "--yes", action="count", default=0, help="yes to its question; twice: also where it advises to wait"
    )
    parser.add_argument("-o", "--output", type=Path, metavar="FILE", help="write the sheet as a page to print, too")
    parser.add_argument("--keep", type=Path, metavar="FILE", help="write all that is heard to this new pcapng file")
    recording.add(parser)
    parser.add_argument("--plain", action="store_true", help="without colours")
    parser.add_argument("--json", action="store_true", help="the sheet as one JSON document")
    options.add_plan(parser)
    options.add_settings(parser)
    parser.set_defaults(page=None, sound=False, new_job=False)


def _minutes(text: str) -> float:
    value = float(text)
    if not 0 < value <= 24 * 60:
        raise ValueError(text)
    return value


def run(arguments: Namespace) -> Exit:
    """Ask, join, listen, tell. Raises ``Stop``."""
    settings = options.settings(arguments)
    watch.check_join(arguments.join)
    plan = options.plan(arguments)
    if arguments.output is not None:
        new_file.check(arguments.output, new_file.PAGE)
    _not_in_show(settings, plan, arguments.minutes)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # see watch.run
    from ..packets.machine import CannotListen
    from ..packets.stream import CaptureError
    from ..words import soak as words

    watch.prepare()
    # Imported before rights are given up, as all the rest.
    from ..report import soak as _report  # noqa: F401  # isort: skip
    asked = arguments.join or _planned(plan)
    complain(words.begins(arguments.minutes, settings.numbers.listen_first_s, _named(asked)))
    try:
        session = watch.begin(watch.open_source(arguments.on), settings, arguments, plan)
    except (CannotListen, CaptureError) as error:
        raise Stop(Exit.UNREADABLE, str(error)) from None
    with ExitStack() as ends:
        actions = watch.company(session, settings, arguments, ends)
        soaking = Soaking(session, actions, watch.Wish(asked, arguments.yes, actions), arguments.minutes * 60)
        soaking.run()
        # Before what was joined is left again.
        tested, snapshot = soaking.tested(plan), session.snapshot()
    for told in (session.problem, recording.ended(session)):
        if told:
            complain(told)
    return _told(snapshot, tested, settings, arguments)


def _not_in_show(settings: Settings, plan: Plan | None, minutes: float) -> None:
    """In a show nothing may be joined for a test. Raises ``Stop``."""
    from ..words import soak as words

    if settings.words.phase == "show":
        raise Stop(Exit.USAGE, words.IN_SHOW)
    if plan is None:
        return
    from ..plan.expectation import turns

    now, phase = time.time_ns(), "building"
    for at, turn in turns(plan):
        if at <= now:
            phase = turn
        elif turn == "show" and at <= now + int((minutes * 60 + settings.numbers.listen_first_s) * NS):
            raise Stop(Exit.USAGE, words.show_soon(time.strftime("%H:%M", time.localtime(at / NS))))
    if phase == "show":
        raise Stop(Exit.USAGE, words.IN_SHOW)


def _planned(plan: Plan | None) -> str:
    """What is joined where nothing was named: the plan's universes, else what is announced."""
    from ..asking.consent import ANNOUNCED

    found = () if plan is None else sorted({light.number for _, light in plan.lights() if light.protocol == "e131"})
    return ",".join(map(str, found)) or ANNOUNCED


def _named(asked: str) -> str:
    from ..asking.consent import parse
    from ..words import soak as words

    return words.wish(parse(asked))


class Soaking:
    """Listens, joins when it may, and listens on."""

    def __init__(self, session: Session, actions: LiveActions, wish: watch.Wish, seconds: float) -> None:
        self._session, self._actions, self._wish, self._seconds = session, actions, wish, seconds
        self._begun: int | None = None
        self._joined: dict[int, int] = {}
        self._told = 0.0
        self._whole = False

    def run(self) -> None:
        """Until the time is over, the input ends, or Ctrl-C."""
        told = 0
        try:
            while not self._whole and not self._session.wait(0.25):
                self._look()
                news = self._session.happenings(told)
                told += len(news)
                for line in news:
                    if line.what in ("opened", "closed", "sent"):
                        complain(f"{time.strftime('%H:%M:%S', time.localtime(line.at / NS))} {line.what}: {line.text}")
        except KeyboardInterrupt:
            complain("Stopped.")

    def _look(self) -> None:
        from ..words import soak as words

        self._wish.look()
        if not self._wish.settled:
            return
        now = time.time_ns()
        self._begun = now if self._begun is None else self._begun
        for universe in self._actions.joined:
            self._joined.setdefault(universe, now)
        rest = self._seconds - (now - self._begun) / NS
        self._whole = rest <= 0
        if rest > 0 and time.monotonic() >= self._told:
            self._told = time.monotonic() + TOLD_EACH_S
            complain(words.left(rest))

    def tested(self, plan: Plan | None) -> Soaked:
        """What was done."""
        from ..asking.consent import DISCOVERY
        from ..story.soak import Soaked

        sends = [] if plan is None else [each for device in plan.devices for each in device.sends]
        planned = {each.number for each in sends if each.protocol == "e131"}
        begun = self._begun if self._begun is not None else self._session.snapshot().now
        joined = {universe: at for universe, at in self._joined.items() if universe != DISCOVERY}
        return Soaked(begun, joined, planned | self._session.announced(), self._whole)


def _told(snapshot: Snapshot, tested: Soaked, settings: Settings, arguments: Namespace) -> Exit:
    """The sheet, and the exit code."""
    from ..report.brief import Job
    from ..report.soak import data, page, render
    from ..story.soak import judge
    from ..words import soak as words

    sheet = judge(snapshot, tested, settings.numbers)
    if arguments.json:
        say(json.dumps(data(snapshot, sheet), indent=2, allow_nan=False))
    else:
        say(render(snapshot, sheet, colour=colour(plain=arguments.plain), width=width()))
    if arguments.output is not None:
        new_file.write(arguments.output, page(snapshot, sheet, Job(program=program())).encode("utf-8", "replace"))
        complain(f"Written: {arguments.output}")
    if not tested.whole:
        return Exit.INTERRUPTED
    return {words.READY: Exit.FINE, words.NOT_READY: Exit.ALERTS, words.CANNOT_SAY: Exit.NOT_TRUSTED}[sheet.verdict]
