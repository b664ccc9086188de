"""A lighting network of real programs in Linux network namespaces. Needs root, Linux and a few Debian packages.

    sudo .venv/bin/python scripts/lab.py list
    sudo .venv/bin/python scripts/lab.py run clean --keep-open
    sudo .venv/bin/python scripts/lab.py record clean -o captures-of-today
    sudo .venv/bin/python scripts/lab.py watch source_killed -o today --join 1-3 --set listen_first_s=2

``record`` writes SCENARIO.mirror.pcapng, SCENARIO.ordinary.pcapng and SCENARIO.truth.json (who did what, and when). ``watch``
has netwatch listen on both ports instead, and writes for each SCENARIO.PORT.live.json, .kept.pcapng and .said.txt. Nothing
ever leaves the namespaces, and the kernel removes everything with the run, also after a kill.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import argparse
import gzip
import subprocess
from tempfile import TemporaryDirectory

from rig.needs import why_not
from rig.scenario import Scenario, Stage
from rig.scenes import SCENARIOS
from rig.scenes.evening import DEMOS
from rig.shelter import run_sheltered
from rig.stretch import stretch_recording
from rig.watching import Wish

CAPTURES = Path(__file__).resolve().parent.parent / "captures"


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
    remake = verbs.add_parser("captures", help="record a capture of captures/ anew")
    remake.add_argument("capture", choices=DEMOS, metavar="NAME", help=", ".join(DEMOS))
    watch = verbs.add_parser("watch", help="play a scenario while netwatch listens, live")
    watch.add_argument("scenario", choices=SCENARIOS, metavar="SCENARIO")
    watch.add_argument("--join", required=True, metavar="UNIVERSES", help="what netwatch joins, with --yes --yes")
    watch.add_argument("--set", dest="settings", action="append", default=[], metavar="KEY=VALUE", help="a setting of netwatch")
    watch.add_argument("--soak", type=float, metavar="MINUTES", help="netwatch soak instead of a watch")
    for each in (record, watch):
        each.add_argument("-o", dest="folder", type=Path, required=True, metavar="FOLDER", help="where the files go")
    arguments = parser.parse_args()
    if arguments.verb == "list":
        return _list()
    if arguments.verb == "captures":
        return _capture(arguments.capture)
    scenario = SCENARIOS[arguments.scenario]
    _check(scenario)
    if arguments.verb == "run":
        return run_sheltered(lambda: _play(Stage(scenario, None), scenario, keep_open=arguments.keep_open))
    folder, wish = arguments.folder.resolve(), None
    folder.mkdir(parents=True, exist_ok=True)
    if arguments.verb == "watch":
        timers = (f"{key}={value}" for key, value in scenario.settings.items())
        wish = Wish(arguments.join, (*timers, *arguments.settings), arguments.soak)
    code = run_sheltered(lambda: _play(Stage(scenario, folder, wish), scenario))
    if code == 0 and wish is None and scenario.stretch is not None:
        stretch_recording(folder, scenario.name, scenario.stretch)
    return code


def _check(scenario: Scenario) -> None:
    problem = why_not(scenario)
    if problem:
        print(problem, file=sys.stderr)
        sys.exit(2)


def _list() -> int:
    width = max(map(len, SCENARIOS))
    for each in SCENARIOS.values():
        print(f"{each.name:{width}}  {each.story}{' (slow)' if each.slow else ''}")
    return 0


def _capture(name: str) -> int:
    """Play, record, and put the capture of one port into captures/."""
    demo = DEMOS[name]
    scenario = SCENARIOS[demo.scenario]
    _check(scenario)
    with TemporaryDirectory() as folder:
        code = run_sheltered(lambda: _play(Stage(scenario, Path(folder)), scenario))
        if code == 0:
            recorded = Path(folder) / f"{scenario.name}.{demo.port}.pcapng"
            # Without name and time in the gzip header: the file depends on what was recorded alone.
            (CAPTURES / f"{name}.pcapng.gz").write_bytes(gzip.compress(recorded.read_bytes(), mtime=0))
    return code


def _play(stage: Stage, scenario: Scenario, *, keep_open: bool | None = None) -> int:
    """``keep_open`` = None: nothing is told."""
    if keep_open is not None:
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
