"""What the program's exit code says, and how a verb stops early."""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """``ALERTS`` goes before ``NOT_TRUSTED``, that before ``FINE``."""

    FINE = 0
    ALERTS = 1
    USAGE = 2
    UNREADABLE = 3
    NOT_TRUSTED = 4
    INTERRUPTED = 130


MEANINGS = {
    Exit.FINE: "nothing at or above --fail-on was found; reach, plan: all fits; soak: READY",
    Exit.ALERTS: "alerts from --fail-on on (default: soon); reach, plan: does not fit; soak: NOT READY",
    Exit.USAGE: "the command or a setting is wrong",
    Exit.UNREADABLE: "a file could not be read, an interface not be listened to, or no running watch be found",
    Exit.NOT_TRUSTED: "do not trust it: packets dropped, file cut short, laptop at fault; soak: CANNOT SAY",
    Exit.INTERRUPTED: "stopped with Ctrl-C",
}
"""One line each, as the help shows them."""


class Stop(Exception):
    """Ends the program with an exit code and one sentence on standard error: what is wrong and what to do."""

    def __init__(self, code: Exit, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code
