"""The scoreboard: records all scenarios of the lab, runs ``netwatch replay`` over both ports, compares with the table.

    sudo .venv/bin/python scripts/score.py                       all, fourteen at a time
    sudo .venv/bin/python scripts/score.py dropped fighting      some
    .venv/bin/python scripts/score.py --recorded FOLDER          captures of an earlier 'lab.py record' or 'score.py --keep'

What must be found stands in scripts/rig/expected.txt. Exit code 1 if anything was missed, unexpected or wrongly marked.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import argparse
import json
import os
import subprocess
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor, as_completed
from tempfile import TemporaryDirectory
from typing import Any

from rig.expected import PORTS, TABLE, Verdict, Wanted, judge, table
from rig.needs import why_not
from rig.scenes import SCENARIOS

ROOT = Path(__file__).resolve().parent.parent
LONGEST, SLOWEST = 240, 900
"""s after which a scenario that hangs is given up; one that is marked as slow."""


def main() -> int:
    """Exit code."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("scenarios", nargs="*", metavar="SCENARIO", help="default: all that take less than a minute")
    parser.add_argument("--recorded", type=Path, metavar="FOLDER", help="judge the captures of this folder, record nothing")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="keep what was recorded")
    parser.add_argument("--at-once", type=int, default=14, metavar="N", help="scenarios side by side (default: 14)")
    parser.add_argument("--json", action="store_true", help="one JSON list instead of the table")
    arguments = parser.parse_args()
    names = arguments.scenarios or [each.name for each in SCENARIOS.values() if not each.slow]
    unknown = [name for name in names if name not in SCENARIOS]
    if unknown:
        parser.error(f"there is no scenario {', '.join(unknown)}; 'lab.py list' shows all")
    with TemporaryDirectory() as passing:
        folder = arguments.recorded or arguments.keep or Path(passing)
        if arguments.recorded is None:
            problem = why_not(*(SCENARIOS[name] for name in names))
            if problem:
                parser.exit(2, problem + "\n")
        else:
            names = [name for name in names if (folder / f"{name}.truth.json").exists()]
        verdicts = judged(names, folder, arguments.at_once, recording=arguments.recorded is None)
        print(_document(verdicts) if arguments.json else _board(names, verdicts, folder))
    return int(any(verdict.bad for verdict in verdicts))


def judged(names: Iterable[str], folder: Path, at_once: int, *, recording: bool) -> list[Verdict]:
    """The verdicts of all scenarios and ports, so many scenarios side by side."""
    from netwatch.alerts.catalogue import RULES

    wanted = table(TABLE.read_text(encoding="utf-8"))

    def judge_one(name: str, said: str) -> list[Verdict]:
        if said:
            return [Verdict(name, port, "(scenario)", "missed", None, f"not recorded: {said}") for port in PORTS]
        truth = json.loads((folder / f"{name}.truth.json").read_text(encoding="utf-8"))
        return [verdict for port in PORTS for verdict in _judged(name, port, folder, wanted, truth, RULES)]

    # Real programs wait most of the time, a replay never does: it gets what they leave.
    with ThreadPoolExecutor(at_once) as stages, ThreadPoolExecutor(os.cpu_count()) as judges:
        played = {stages.submit(_record, name, folder) if recording else stages.submit(str): name for name in names}
        verdicts = {played[each]: judges.submit(judge_one, played[each], each.result()) for each in as_completed(played)}
        return [verdict for name in names for verdict in verdicts[name].result()]


def _judged(name: str, port: str, folder: Path, wanted: list[Wanted], truth: dict[str, Any],
            built: Iterable[str]) -> list[Verdict]:
    alerts = replay(name, port, folder)
    if isinstance(alerts, str):
        return [Verdict(name, port, "(replay)", "missed", None, alerts)]
    return judge(name, port, wanted, truth, alerts, built)


def _record(name: str, folder: Path) -> str:
    """Record one scenario in a process of its own; what it said if that failed."""
    command = [sys.executable, str(Path(__file__).with_name("lab.py")), "record", name, "-o", str(folder)]
    patience = SLOWEST if SCENARIOS[name].slow else LONGEST
    try:
        done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=patience, check=False)
    except subprocess.TimeoutExpired:
        return f"it took more than {patience} s"
    return (done.stderr.strip().splitlines() or ["no reason given"])[-1] if done.returncode else ""


def replay(name: str, port: str, folder: Path) -> list[dict[str, Any]] | str:
    """Alerts of ``netwatch replay --json`` with the scenario's shortened timers; what it said if it gave none.

    In a show: while a rig is put up, what is lost so soon would be notes.
    """
    settings = folder / f"{name}.toml"
    lines = [f"{key} = {value}\n" for key, value in SCENARIOS[name].settings.items()]
    settings.write_text("".join(["# Standard timers, shortened as the lab's own are.\n", *lines]), encoding="utf-8")
    capture = folder / f"{name}.{port}.pcapng"
    command = ["nice", "-n", "10", sys.executable, "-m", "netwatch", "replay", str(capture), "--json", "--phase", "show",
               "--config", str(settings)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    try:
        alerts: list[dict[str, Any]] = json.loads(done.stdout)["alerts"]
    except ValueError:
        return (done.stderr.strip().splitlines() or ["netwatch gave no result"])[-1]
    return alerts


def _document(verdicts: Iterable[Verdict]) -> str:
    rows = [
        {"scenario": v.scenario, "port": v.port, "code": v.code, "result": v.result, "seconds": v.seconds, "title": v.title}
        for v in verdicts
    ]
    return json.dumps(rows, indent=1)


def _board(names: Iterable[str], verdicts: list[Verdict], folder: Path) -> str:
    """The table for people."""
    lines = []
    for name in names:
        for port in PORTS:
            here = [verdict for verdict in verdicts if (verdict.scenario, verdict.port) == (name, port)]
            for verdict in here or [Verdict(name, port, "", "quiet")]:
                seconds = "" if verdict.seconds is None else f"{verdict.seconds:6.2f} s"
                lines.append(f"{name:22} {port:9} {verdict.result:11} {verdict.code:22} {seconds:9} {verdict.title}".rstrip())
    return "\n".join([*lines, "", *_totals(names, verdicts, folder)])


def _totals(names: Iterable[str], verdicts: list[Verdict], folder: Path) -> list[str]:
    found, missed = (sum(verdict.result == result for verdict in verdicts) for result in ("found", "missed"))
    troubled = {each.scenario for each in table(TABLE.read_text(encoding="utf-8")) if each.severity in ("quality", "soon", "now")}
    clean = [name for name in names if name not in troubled and (folder / f"{name}.truth.json").exists()]
    truths = [json.loads((folder / f"{name}.truth.json").read_text(encoding="utf-8")) for name in clean]
    seconds = sum(truth["seconds"] for truth in truths) * len(PORTS)
    alarms = [verdict for verdict in verdicts if verdict.result == "unexpected"]
    false = sum(verdict.scenario in clean for verdict in alarms)
    return [
        f"recall: {found} of {found + missed} expected alerts found" +
        (f" ({found / (found + missed):.0%})" if found + missed else ""),
        f"unexpected at 'soon' or above: {len(alarms)}",
        f"false alarms: {false} in {seconds / 60:.1f} minutes of clean traffic" +
        (f", {false * 3600 / seconds:.1f} an hour" if seconds else ""),
        f"wrong marks: {sum(verdict.result == 'wrong mark' for verdict in verdicts)}",
    ]


if __name__ == "__main__":
    sys.exit(main())
