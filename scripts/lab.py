"""A lighting network of real programs in Linux network namespaces. Needs root, Linux and a few Debian packages.

    sudo .venv/bin/python scripts/lab.py list
    sudo .venv/bin/python scripts/lab.py run clean --keep-open
    sudo .venv/bin/python scripts/lab.py record clean -o captures-of-today

``record`` writes SCENARIO.mirror.pcapng, SCENARIO.ordinary.pcapng and SCENARIO.truth.json (who did what, and when). Nothing
ever leaves the namespaces, and the kernel removes everything with the run, also after a kill.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import argparse
import subprocess

from rig.needs import why_not
from rig.scenario import Scenario, Stage
from rig.scenes import SCENARIOS
from rig.shelter import run_sheltered


def main() -> int:
    """Exit code."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    verbs = parser.add_subparsers(dest="verb", required=True)
    verbs.add_parser("list", help="all scenarios")
    run = verbs.add_parser("run", help="play a scenario and tell what happens")
    run.add_argument("scenario", choices=SCENARIOS, metavar="SCENARIO")
    run.add_argument("--keep-open", action="store_true", help="then open a shell inside, with the network still standing")
    record = verbs.add_parser("record", help="play a scenario and record it")
    record.add_argument("scenario", choices=SCENARIOS, metavar="SCENARIO")
    record.add_argument("-o", dest="folder", type=Path, required=True, metavar="FOLDER", help="where the three files go")
    arguments = parser.parse_args()
    if arguments.verb == "list":
        return _list()
    scenario = SCENARIOS[arguments.scenario]
    problem = why_not(scenario)
    if problem:
        parser.exit(2, problem + "\n")
    folder = None
    if arguments.verb == "record":
        folder = arguments.folder.resolve()
        folder.mkdir(parents=True, exist_ok=True)
    return run_sheltered(lambda: _play(scenario, folder, keep_open=getattr(arguments, "keep_open", False)))


def _list() -> int:
    width = max(map(len, SCENARIOS))
    for each in SCENARIOS.values():
        print(f"{each.name:{width}}  {each.story}{' (slow)' if each.slow else ''}")
    return 0


def _play(scenario: Scenario, folder: Path | None, *, keep_open: bool) -> int:
    stage = Stage(scenario, folder)
    if folder is None:
        stage.truth.listener = lambda event: print(f"{event.rel:8.2f} s  {event.actor}: {event.what}", flush=True)
    scenario.play(stage)
    if keep_open:
        print("The network stands until you leave this shell. Hosts: " + ", ".join(stage.lan.hosts))
        print("For example: ip netns exec lap ip address")
        subprocess.run(["/bin/sh", "-i"], check=False)
    stage.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
