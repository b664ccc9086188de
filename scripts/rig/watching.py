"""``netwatch watch``, or ``soak``, itself, live on the ports of a scenario."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from rig.shelter import RUN

ROOT = Path(__file__).resolve().parents[2]
PATIENCE = 30.0
"""s that it may take to begin, or to end."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What the laptop's netwatch is told: universes to join, and settings as KEY=VALUE."""

    join: str
    settings: tuple[str, ...]
    soak: float | None = None
    """Minutes of ``netwatch soak`` in place of a watch."""


CARDS = 'mount -t tmpfs tmpfs /sys/class/net; exec "$@"'
"""Without its entry in /sys nobody knows that a cable of the lab is a virtual one: it counts as a card."""


class Watch:
    """Listens on one host from now on, in a show: while a rig is put up, what is lost so soon would be notes.

    It keeps what it hears in ``kept``; FILES.live.json and FILES.said.txt are there when it ends. Without a wish it asks nothing.
    """

    def __init__(self, host: str, files: str, kept: str, wish: Wish | None = None) -> None:
        self._kept, self._said = Path(kept), Path(f"{files}.said.txt")
        self._kept.unlink(missing_ok=True)
        soak = None if wish is None else wish.soak
        words = ["watch", "--phase", "show"] if soak is None else ["soak", "--minutes", f"{soak:g}"]
        words += ["--on", "eth0", "--json", "--keep", kept]
        if wish:
            words += ["--join", wish.join, "--yes", "--yes", *(word for each in wish.settings for word in ("--set", each))]
        # It gives its rights up for those of whoever called sudo, and remembers when it left: neither is for this run.
        wanted = {key: value for key, value in os.environ.items() if key not in ("SUDO_UID", "SUDO_GID", "PKEXEC_UID")}
        # The run takes no notice of Ctrl-C, and what it starts would not either.
        place = ["ip", "netns", "exec", host, "sh", "-c", CARDS, "sh", "env", "--default-signal=INT"]
        program = [*place, sys.executable, "-m", "netwatch"]
        with Path(f"{files}.live.json").open("wb") as out, self._said.open("wb") as said:
            self._program = subprocess.Popen(
                [*program, *words], cwd=ROOT, stdin=subprocess.DEVNULL, stdout=out, stderr=said,
                env=wanted | {"XDG_STATE_HOME": str(RUN / f"state-{host}")},
            )

    def wait(self) -> None:
        """Until it listens. Raises ``RuntimeError`` with what it said."""
        until = time.monotonic() + PATIENCE
        while not self._kept.exists():
            if self._program.poll() is not None or time.monotonic() > until:
                raise RuntimeError(f"netwatch watch does not listen: {self._said.read_text(encoding='utf-8').strip()}")
            time.sleep(0.05)

    def stop(self) -> None:
        """As by Ctrl-C."""
        self._program.send_signal(signal.SIGINT)
        self._program.wait(PATIENCE)
