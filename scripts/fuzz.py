"""Looks for bytes that break netwatch, guided by what code they reach. Needs the test packages, and atheris.

    .venv/bin/pip install atheris
    .venv/bin/python scripts/fuzz.py run fold --minutes 30         targets: capture, frames, fold, plan, journal
    .venv/bin/python scripts/fuzz.py keep fold                     reduces what was found; the tests play it from then on

What is found grows in .fuzz/TARGET; bytes that broke something stand beside it, named crash-... or timeout-... .
"""

from __future__ import annotations

import argparse
import contextlib
import random
import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT)]
sys.path.append(str(ROOT / "tests" / "screens"))
KEPT = ROOT / "tests" / "fuzz" / "corpus"
PLACE = ROOT / ".fuzz"
MOST = {"capture": 20_000, "frames": 6_000, "fold": 40_000, "plan": 20_000, "journal": 400_000}
"""The longest input in bytes, by target."""
SLOW_S, MOST_MB = 60, 3_000
"""A single input that takes so long, or so much memory, counts as found."""


def main() -> None:
    """Look, or keep."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("run", "keep"))
    parser.add_argument("target", choices=sorted(MOST))
    parser.add_argument("--minutes", type=float, default=30)
    parser.add_argument("--place", type=Path, default=PLACE, help="where what is found grows")
    parser.add_argument("--least-kb", type=int, default=60, help="keep: no more than so much in the tree, the smallest first")
    parser.add_argument("--merge", type=Path, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    found = arguments.place / arguments.target
    found.mkdir(parents=True, exist_ok=True)
    if arguments.what == "keep" and arguments.merge is None:
        keep(arguments.target, found, arguments.least_kb << 10)
    elif arguments.merge is not None:
        fuzz(arguments.target, found, [str(arguments.merge), str(found), "-merge=1"], seeded=False)
    else:
        limits = [f"-max_total_time={round(arguments.minutes * 60)}", "-print_final_stats=1"]
        fuzz(arguments.target, found, [str(found), *limits], seeded=True)


def fuzz(target: str, found: Path, options: list[str], *, seeded: bool) -> None:
    """Hand over to libFuzzer; ends the program."""
    try:
        import atheris
    except ImportError:
        sys.exit("atheris is not installed; it has wheels for Linux: .venv/bin/pip install atheris")
    with atheris.instrument_imports(include=["netwatch"]):  # before anything else of ours imports what is looked at
        from tests.fuzz.targets import TARGETS
    from fuzzing.mutate import MUTATORS

    from tests.fuzz.seeds import seeds

    for number, data in enumerate([*kept(target), *seeds(target)] if seeded else ()):
        (found / f"seed-{number:03}").write_bytes(data)
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
    """The fewest inputs that reach all that was reached, the smallest first, into the tree."""
    least = found.with_name(f"{target}-least")
    least.mkdir(exist_ok=True)
    for old in least.iterdir():
        old.unlink()
    words = [sys.executable, __file__, "keep", target, "--place", str(found.parent), "--merge", str(least)]
    done = subprocess.run(words, capture_output=True, text=True, errors="replace", check=False)
    files = sorted(least.iterdir(), key=lambda path: path.stat().st_size)
    if not files:
        sys.exit(done.stderr[-2_000:])
    KEPT.mkdir(parents=True, exist_ok=True)
    path, held = KEPT / f"{target}.zip", 0
    with contextlib.closing(zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=9)) as packed:
        for number, each in enumerate(files):
            packed.writestr(zipfile.ZipInfo(f"{number:04}"), each.read_bytes(), zipfile.ZIP_DEFLATED)
            if path.stat().st_size > most:
                break
            held = number + 1
    print(f"{target}: {held} of {len(files)} inputs, {path.stat().st_size >> 10} KiB")


if __name__ == "__main__":
    main()
