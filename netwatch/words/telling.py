"""Words about passing alerts on: to a command of the person's own, and to the desktop."""

from __future__ import annotations

from .phrases import count, seconds

NO_DESKTOP = "no desktop that takes notices was found"


def no_program(name: str) -> str:
    """It is not where the settings say."""
    return f"on_alert: there is no program {name}, so alerts are not passed on; write its whole path into the settings."


def cannot_start(name: str, why: str) -> str:
    """The system can't start it."""
    return f"on_alert: {name} can't be started ({why}), so alerts are not passed on; try it by hand."


def hangs(name: str, after: float) -> str:
    """It was ended."""
    return f"on_alert: {name} was ended, because it took more than {seconds(after)}; try it by hand."


def failed(name: str, code: int) -> str:
    """It told so itself, or a signal ended it."""
    how = f"ended with code {code}" if code > 0 else f"was ended by signal {-code}"
    return f"on_alert: {name} {how}; try it by hand."


def left_out(per_minute: int) -> str:
    """More than it may get."""
    return f"on_alert: too many alerts at once (more than {per_minute} a minute); the rest is not passed on."


def works_again(missed: int) -> str:
    """After a problem."""
    return f"on_alert works again; {count(missed, 'alert was', 'alerts were')} not passed on meanwhile."


def no_notice(why: str) -> str:
    """The desktop could not be told."""
    return f"Notices can't be shown ({why}); the watch goes on without them."
