"""A watch or a guard that runs beside a test, and what it has said so far."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


class Running:
    """``netwatch`` with these words; both its outputs are read all the time."""

    def __init__(self, *words: str, before: Callable[[], None] | None = None) -> None:
        """``before`` is called in the new process before it begins."""
        self.program = subprocess.Popen(
            [sys.executable, "-u", "-m", "netwatch", *words],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=ROOT, preexec_fn=before,
        )  # fmt: skip
        self.lines: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.program.stdout is not None
        self.lines += self.program.stdout  # one after the other, as they come

    def says(self, *texts: str, since: int = 0, seconds: float = 60) -> str:
        """Wait for a line that holds all these texts."""
        end = time.monotonic() + seconds
        while True:
            found = next((line for line in self.lines[since:] if all(text in line for text in texts)), None)
            if found is not None:
                return found
            assert time.monotonic() < end, f"it never said {texts}:\n{''.join(self.lines)}"
            assert self._reader.is_alive() or self.program.poll() is None, f"it ended:\n{''.join(self.lines)}"
            time.sleep(0.05)

    def never_said(self, *texts: str) -> None:
        """No line so far holds one of these."""
        found = [line for line in self.lines if any(text in line for text in texts)]
        assert not found, "".join(self.lines)

    def ends(self) -> str:
        """Ctrl-C; all that it said."""
        self.program.send_signal(signal.SIGINT)
        self.program.wait(60)
        self.close()
        said = "".join(self.lines)
        assert "Traceback" not in said, said
        return said

    def close(self) -> None:
        """It is gone, by a kill where it still ran."""
        self.program.kill()
        self.program.wait()
        self._reader.join(10)
        assert self.program.stdout is not None
        self.program.stdout.close()
