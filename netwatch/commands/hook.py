"""``on_alert``: a command of the person's own gets each alert as JSON on its standard input. Bounded in time and number.

Nothing here ends a watch or holds it up: what goes wrong is one sentence.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path

from ..numbers import Numbers
from ..words import telling as words

MINUTE_S = 60.0


class Hook:
    """Runs the command in a thread of its own, one alert after the other."""

    def __init__(self, command: Sequence[str], numbers: Numbers, say: Callable[[str], None]) -> None:
        """``say`` is told what is wrong, once, and that it is over; from any thread."""
        self._command, self._numbers, self._say = command, numbers, say
        self._problem: str | None = None
        self._missed = 0
        self._offered: deque[float] = deque()
        """Monotonic times of the last minute."""
        self._waiting: deque[str] = deque()
        self._wake = threading.Condition()
        self._over: float | None = None
        """Monotonic time at which the watch will wait no longer; None = it goes on."""
        self._child: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._run, name="on_alert", daemon=True)
        self._thread.start()
        if found(command[0]) is None:
            self._tell(words.no_program(command[0]))

    def pass_on(self, text: str) -> None:
        """One line of JSON; returns at once."""
        now = time.monotonic()
        while self._offered and self._offered[0] <= now - MINUTE_S:
            self._offered.popleft()
        with self._wake:
            if len(self._offered) >= self._numbers.hook_per_min or len(self._waiting) >= self._numbers.cap_hook:
                self._missed += 1
                self._tell(words.left_out(self._numbers.hook_per_min))
                return
            self._offered.append(now)
            self._waiting.append(text)
            self._wake.notify()

    def close(self) -> None:
        """What waits is still passed on, as long as one run may take."""
        with self._wake:
            self._over = time.monotonic() + self._numbers.hook_s
            self._wake.notify()
        self._thread.join(self._numbers.hook_s + 1)

    def _run(self) -> None:
        while True:
            with self._wake:
                while not self._waiting and self._over is None:
                    self._wake.wait()
                if not self._waiting or (self._over is not None and time.monotonic() > self._over):
                    return
                text = self._waiting.popleft()
            left = self._numbers.hook_s if self._over is None else max(0.1, self._over - time.monotonic())
            problem = once(self._command, text, min(left, self._numbers.hook_s))
            with self._wake:
                self._missed += problem is not None
                if problem is not None or not self._waiting:
                    self._tell(problem)

    def _tell(self, problem: str | None) -> None:
        """Say it if it is news."""
        if problem == self._problem:
            return
        self._problem = problem
        if problem is None:
            problem, self._missed = words.works_again(self._missed), 0
        self._say(problem)


def once(command: Sequence[str], text: str, patience: float) -> str | None:
    """Run it; what went wrong. Its output is nobody's, so it may flood as it likes."""
    program = found(command[0])
    if program is None:
        return words.no_program(command[0])
    try:
        child = subprocess.Popen(
            [program, *command[1:]], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            cwd=home if os.path.isdir(home := os.path.expanduser("~")) else "/", start_new_session=True,
        )  # fmt: skip
    except OSError as error:
        return words.cannot_start(command[0], (error.strerror or "unknown reason").lower())
    try:
        child.communicate(text.encode(), patience)
    except subprocess.TimeoutExpired:
        _end(child)
        return words.hangs(command[0], patience)
    return None if child.returncode == 0 else words.failed(command[0], child.returncode)


def found(name: str) -> str | None:
    """The whole path of a program: never one that merely lies in the current folder."""
    path = Path(os.path.expanduser(name))
    if path.is_absolute():
        return str(path) if path.exists() else None
    known = shutil.which(name) if os.sep not in name else None
    return known if known is not None and Path(known).is_absolute() else None


def _end(child: subprocess.Popen[bytes]) -> None:
    """With all that it started."""
    if hasattr(os, "killpg"):
        os.killpg(child.pid, signal.SIGKILL)  # not waited for yet, so the number is still its own
    child.kill()
    child.wait()
