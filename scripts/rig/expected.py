"""The table of what must be found, and the judgement of what was."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PORTS = ("mirror", "ordinary")
SEVERITIES = ("note", "tidy", "quality", "soon", "now")
TABLE = Path(__file__).with_name("expected.txt")
EARLY = 1.0
"""s that an alert may come before the event was noted."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """One cell of the table; ``mark`` = '', 'unseen', 'may' or 'not built'."""

    scenario: str
    port: str
    code: str
    cause: str
    severity: str = "note"
    within: float = 0.0
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """How one cell came out: 'found', 'missed', 'unseen', 'may', 'not built', 'wrong mark', or 'unexpected' alerts."""

    scenario: str
    port: str
    code: str
    result: str
    seconds: float | None = None
    """From the cause to the alert."""
    title: str = ""
    """What was told, as it stands at the end."""

    @property
    def bad(self) -> bool:
        return self.result in ("missed", "wrong mark", "unexpected")


def table(text: str) -> list[Wanted]:
    """The cells of the table. Raises ``ValueError`` where a line is not understood."""
    out = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or line.startswith("#"):
            continue
        cells = [cell.strip() for cell in line.split("|")]
        if len(cells) != 3 + len(PORTS):
            raise ValueError(f"line {number} of the table has {len(cells)} cells instead of {3 + len(PORTS)}")
        scenario, code, cause = cells[:3]
        for port, cell in zip(PORTS, cells[3:], strict=True):
            if cell in ("unseen", "may", "not built"):
                out.append(Wanted(scenario, port, code, cause, mark=cell))
                continue
            severity, _, seconds = cell.partition(" ")
            if severity not in SEVERITIES or not seconds.replace(".", "", 1).isdigit():
                raise ValueError(f"line {number} of the table: '{cell}' is neither a mark nor a severity with seconds")
            out.append(Wanted(scenario, port, code, cause, severity, float(seconds)))
    return out


def judge(scenario: str, port: str, wanted: Iterable[Wanted], truth: Mapping[str, Any], alerts: Sequence[Mapping[str, Any]],
          built: Iterable[str]) -> list[Verdict]:
    """Compare the alerts of one port's replay with the table. ``built`` = codes for which netwatch has a rule."""
    here = [each for each in wanted if (each.scenario, each.port) == (scenario, port)]
    told = [alert for alert in alerts if alert["over"] is None]
    out = [_cell(each, truth, told, set(built)) for each in here]
    known = {each.code for each in here if each.mark != "unseen"}
    for alert in told:
        if alert["code"] not in known and _rank(alert["severity"]) >= _rank("soon"):
            at = round(alert["opened"] - truth["t0"], 2)
            out.append(Verdict(scenario, port, alert["code"], "unexpected", at, alert["title"]))
    return out


def _cell(each: Wanted, truth: Mapping[str, Any], told: Sequence[Mapping[str, Any]], built: set[str]) -> Verdict:
    same = [alert for alert in told if alert["code"] == each.code]
    if each.mark == "not built":
        return Verdict(each.scenario, each.port, each.code, "wrong mark" if each.code in built else "not built")
    if each.mark == "unseen":
        return Verdict(each.scenario, each.port, each.code, "wrong mark" if same else "unseen")
    cause = next((event["t"] for event in truth["events"] if event.get("cause") == each.cause), None)
    if cause is None:
        return Verdict(each.scenario, each.port, each.code, "missed", None, f"the scenario never came to '{each.cause}'")
    fit = [a for a in same if _rank(a["severity"]) >= _rank(each.severity) and a["opened"] - cause >= -EARLY]
    soonest = min(fit, key=lambda alert: alert["opened"], default=None)
    first = None if soonest is None else soonest["opened"] - cause
    told_as = "" if soonest is None else soonest["title"]
    if each.mark == "may":
        return Verdict(each.scenario, each.port, each.code, "may", first, told_as)
    if first is None or first > each.within:
        title = "" if not same else f"told as '{same[0]['severity']}' {same[0]['opened'] - cause:+.1f} s after the cause"
        return Verdict(each.scenario, each.port, each.code, "missed", first, title)
    return Verdict(each.scenario, each.port, each.code, "found", first, told_as)


def _rank(severity: str) -> int:
    return SEVERITIES.index(severity)
