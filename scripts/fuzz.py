"""Looks for bytes that break netwatch, guided by what code they reach. Needs the test packages, and atheris.

    .venv/bin/pip install atheris
    .venv/bin/python scripts/fuzz.py run fold --minutes 30         targets: capture, frames, fold, plan, journal
    .venv/bin/python scripts/fuzz.py keep fold                     reduces what was found; the tests play it from then on

What is found grows in .fuzz/TARGET; bytes that broke something stand beside it, named crash-... or timeout-... .
"""

from __future__ import annotations

import argparse
import random
import subprocess
import sys
import warnings
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any, TypeAlias

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT)]
sys.path.append(str(ROOT / "tests" / "screens"))
KEPT = ROOT / "tests" / "fuzz" / "corpus"
PLACE = ROOT / ".fuzz"
MOST = {"capture": 20_000, "frames": 6_000, "fold": 40_000, "plan": 20_000, "journal": 400_000}
"""The longest input in bytes, by target."""
Step: TypeAlias = tuple[str, int, int]
Trace: TypeAlias = Callable[[FrameType, str, Any], Any]
_ENTRY = 30 + 46 + 2 * 4
"""Bytes of a zip's two headers for one input, and of its name in both."""
SLOW_S, MOST_MB = 60, 3_000
"""A single input that takes so long, or so much memory, counts as found."""
ROUND_S = 300
"""After so long a new process goes on from what was found: atheris 3 loses memory with each input, 250 KB for a rig."""


def main() -> None:
    """Look, or keep."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("run", "keep"))
    parser.add_argument("target", choices=sorted(MOST))
    parser.add_argument("--minutes", type=float, default=30)
    parser.add_argument("--place", type=Path, default=PLACE, help="where what is found grows")
    parser.add_argument("--most-kb", type=int, default=60, help="keep: no more than so much in the tree, the smallest first")
    arguments = parser.parse_args()
    found = arguments.place / arguments.target
    found.mkdir(parents=True, exist_ok=True)
    if arguments.what == "keep":
        keep(arguments.target, found, arguments.most_kb << 10)
    elif arguments.minutes * 60 <= ROUND_S:
        limits = [f"-max_total_time={round(arguments.minutes * 60)}", "-print_final_stats=1"]
        fuzz(arguments.target, found, [str(found), *limits])
    else:
        rounds(arguments.target, arguments.place, arguments.minutes * 60)


def rounds(target: str, place: Path, left: float) -> None:
    """Round after round, until the time (s) is over or something is found."""
    while left > 0:
        minutes = min(left, ROUND_S) / 60
        command = [sys.executable, __file__, "run", target, "--minutes", f"{minutes}", "--place", str(place)]
        if code := subprocess.run(command, check=False).returncode:
            sys.exit(code)
        left -= ROUND_S


def fuzz(target: str, found: Path, options: list[str]) -> None:
    """Hand over to libFuzzer; ends the program."""
    try:
        import atheris
    except ImportError:
        sys.exit("atheris is not installed; it has wheels for Linux: .venv/bin/pip install atheris")
    with atheris.instrument_imports(include=["netwatch"]):  # before anything else of ours imports what is looked at
        from tests.fuzz.targets import TARGETS
    from fuzzing.mutate import MUTATORS

    from tests.fuzz.seeds import seeds

    for number, data in enumerate([*kept(target), *seeds(target)]):
        (found / f"seed-{number:03}").write_bytes(data)
    warnings.simplefilter("error")  # as the tests have it
    change = MUTATORS[target]

    def changed(data: bytes, most: int, number: int) -> bytes:
        return change(data, most, random.Random(number), atheris.Mutate)

    common = [f"-max_len={MOST[target]}", f"-timeout={SLOW_S}", f"-rss_limit_mb={MOST_MB}", f"-artifact_prefix={found}-"]
    atheris.Setup([sys.argv[0], *options, *common], TARGETS[target], custom_mutator=changed)
    atheris.Fuzz()


def kept(target: str) -> list[bytes]:
    """What is in the tree."""
    path = KEPT / f"{target}.zip"
    if not path.exists():
        return []
    with zipfile.ZipFile(path) as packed:
        return [packed.read(name) for name in sorted(packed.namelist())]


def keep(target: str, found: Path, most: int) -> None:
    """The fewest inputs that reach all that was reached, the smallest when packed first, into the tree."""
    from tests.fuzz.targets import TARGETS

    reached: set[Step] = set()
    inputs = sorted((packed(data), data) for data in {*kept(target), *(each.read_bytes() for each in found.iterdir())})
    held, left = [], most
    for size, data in inputs:
        if size > left:
            break
        more = steps(TARGETS[target], data) - reached
        if more:
            reached |= more
            held.append(data)
            left -= size
    KEPT.mkdir(parents=True, exist_ok=True)
    with zipfile.ZipFile(KEPT / f"{target}.zip", "w") as tree:
        for number, data in enumerate(held):
            tree.writestr(zipfile.ZipInfo(f"{number:04}"), data, zipfile.ZIP_DEFLATED, 9)
    print(f"{target}: {len(held)} of {len(inputs)} inputs, {most - left >> 10} KiB, {len(reached):,} steps from line to line")


def packed(data: bytes) -> int:
    """Bytes that an input takes in a zip, its entry and its place in the list included."""
    return len(zlib.compress(data, 9, -zlib.MAX_WBITS)) + _ENTRY


def steps(target: Callable[[bytes], None], data: bytes) -> set[Step]:
    """From which line to which one of netwatch it went."""
    seen: set[Step] = set()

    def enter(frame: FrameType, event: str, arg: object) -> Trace | None:
        if "netwatch" not in frame.f_code.co_filename.rpartition("site-packages")[2].split("/"):
            return None
        name, last = frame.f_code.co_filename, 0

        def line(frame: FrameType, event: str, arg: object) -> Trace:
            nonlocal last
            seen.add((name, last, frame.f_lineno))
            last = frame.f_lineno
            return line

        return line

    sys.settrace(enter)
    try:
        target(data)
    finally:
        sys.settrace(None)
    return seen


if __name__ == "__main__":
    main()
