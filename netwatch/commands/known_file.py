"""What is known and left be, as a file of lines that people can read and write.

    # what | where | which | at worst | until | why
    two-dhcp-servers | eth0 | rig | soon: 10.0.0.1, 10.0.0.2 | this job | the hired router stays until Sunday
    source-lost | anywhere | source:5f1c0a9e3b7d4c2d8e6f001122334455 | now | 2026-11-26 06:00 | spare desk, off on purpose

'What' is the code of an alert, 'which' its subject, as in the JSON document. 'At worst' is the worst severity that is left be;
behind a colon all members of it that are, where one more would be worse. Times without a difference to UTC are the laptop's own.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path

from ..alerts.alert import Accepted
from ..alerts.catalogue import RULES
from ..alerts.known import Left
from ..alerts.rule import SEVERITIES
from ..decode.text import clean
from ..story.said import LONGEST

NS = 1_000_000_000
COLUMNS = ("what", "where", "which", "at worst", "until", "why")
ANYWHERE, THIS_JOB = "anywhere", "this job"
MOST_LINES = 1_024
_HEAD = f"# Known, leave it: what netwatch was told to leave be.\n# {' | '.join(COLUMNS)}\n"
_EXAMPLE = "for example: source-lost | anywhere | rig | soon | this job | hired like that"


class BadKnown(Exception):
    """One sentence: which file and line, what is wrong, what to do."""


def read(path: Path) -> list[Left]:
    """The lines of a file, in order. Raises ``BadKnown``."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise BadKnown(f"{path}: this is not text in UTF-8; save it as UTF-8.") from None
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or "not a file name").lower()
        raise BadKnown(f"{path}: what is known can't be read ({reason}); check the name.") from None
    return parse(text, str(path))


def parse(text: str, name: str) -> list[Left]:
    """The lines of a text; ``name`` stands in errors. Raises ``BadKnown``."""
    found: dict[tuple[str, str, str], tuple[int, Left]] = {}
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        try:
            left = _left(line)
        except ValueError as error:
            raise BadKnown(f"{name}, line {number}: {error}") from None
        which = left.code, left.where, left.subject
        if which in found:
            raise BadKnown(f"{name}, line {number}: the same thing stands in line {found[which][0]}; keep one of the two.")
        found[which] = number, left
        if len(found) > MOST_LINES:
            raise BadKnown(f"{name}, line {number}: at most {MOST_LINES:,} things can be known; leave some out.")
    return [left for _, left in found.values()]


def _left(line: str) -> Left:
    """One line. Raises ValueError with the rest of the sentence."""
    cells = [cell.strip() for cell in line.split("|", len(COLUMNS) - 1)]
    if len(cells) < len(COLUMNS):
        raise ValueError(f"there are {len(cells)} columns, not {len(COLUMNS)} ({', '.join(COLUMNS)}); {_EXAMPLE}.")
    code, where, subject, worst, until, why = cells
    if code not in RULES:
        near = difflib.get_close_matches(code, RULES, n=1)
        advice = f"did you mean '{near[0]}'?" if near else "'netwatch explain' lists all codes."
        raise ValueError(f"there is no alert '{_short(code)}'; {advice}")
    if not where:
        raise ValueError(f"'where' is empty; write the interface, as eth0 or eth0 VLAN 12, or '{ANYWHERE}'.")
    if not subject:
        raise ValueError(
            "'which' is empty; write the subject of the alert, as rig or universe:7 (it stands in the JSON document)."
        )
    severity, members = _worst(worst)
    return Left(
        code, "" if where == ANYWHERE else where, subject, Accepted(None, _until(until), clean(why, LONGEST), severity, members)
    )


def _worst(text: str) -> tuple[str, frozenset[str] | None]:
    severity, colon, listed = text.partition(":")
    severity = severity.strip()
    if severity not in SEVERITIES:
        raise ValueError(
            f"'{_short(severity)}' is no severity; write {', '.join(SEVERITIES[:-1])} or {SEVERITIES[-1]} as 'at worst'."
        )
    return severity, frozenset(each.strip() for each in listed.split(",") if each.strip()) if colon else None


def _until(text: str) -> int | None:
    if text == THIS_JOB:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or ":" not in text or not 1990 <= moment.year < 2200:
        raise ValueError(f"'{_short(text)}' is no time; write '{THIS_JOB}', or a time as 2026-11-26 06:00.")
    return round(moment.timestamp()) * NS


def _short(text: str) -> str:
    shown = clean(text)
    return shown if len(shown) <= 40 else shown[:37] + "..."


def written(known: Iterable[Left]) -> str:
    """The text that ``parse`` gives them back from; times with their difference to UTC. Names with a '|' have no place in it."""
    rows = map(_cells, known)
    return _HEAD + "".join(f"{' | '.join(cells)}\n" for cells in rows if not any("|" in cell for cell in cells[:4]))


def _cells(left: Left) -> tuple[str, ...]:
    accepted = left.accepted
    of = "" if accepted.of is None else f": {', '.join(sorted(accepted.of))}".rstrip()
    until = THIS_JOB
    if accepted.until is not None:
        until = datetime.fromtimestamp(accepted.until // NS).astimezone().isoformat(sep=" ")
    return left.code, left.where or ANYWHERE, left.subject, f"{accepted.worst}{of}", until, accepted.why


def today_ends(now: int, hour: float) -> int:
    """ns of the next moment at which a working day ends: so many hours after midnight, by the laptop's own clock."""
    moment = datetime.fromtimestamp(now / NS)
    end = moment.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(hours=hour)
    while end <= moment:
        end += timedelta(days=1)
    return round(end.timestamp()) * NS
