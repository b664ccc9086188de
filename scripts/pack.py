"""Keeps the wheels of all packages in ``wheels/`` beside the code: another laptop of the same kind starts without internet.

Standard library only. The folder is made anew each time and takes the place of the old one when it is whole.
"""

from __future__ import annotations

import json
import shutil
import sys

import environment


def pack() -> str:
    """What was done, one sentence. Ends with a sentence where it can't be done."""
    python = environment.ready()
    fresh = environment.WHEELS.with_name("wheels.new")
    shutil.rmtree(fresh, ignore_errors=True)
    print("Fetching the wheels (needs internet, a minute or two) ... ", end="", file=sys.stderr, flush=True)
    problem = environment.pip(python, "wheel", "--wheel-dir", str(fresh), "--require-hashes", "-r", str(environment.LOCK))
    if problem is not None:
        shutil.rmtree(fresh, ignore_errors=True)
        print("not done.", file=sys.stderr)
        sys.exit(f"{problem} The wheels that were kept before are still there." if environment.WHEELS.exists() else problem)
    (fresh / "made-for.json").write_text(json.dumps(environment.kind()), encoding="utf-8")
    shutil.rmtree(environment.WHEELS, ignore_errors=True)
    fresh.rename(environment.WHEELS)
    print("done.", file=sys.stderr)
    wheels = list(environment.WHEELS.glob("*.whl"))
    size = sum(each.stat().st_size for each in wheels) / 1e6
    kind = environment.kind()
    return (f"{len(wheels)} wheels, {size:.0f} MB, are in {environment.WHEELS}. Copy this whole folder to a laptop with "
            f"Python {kind['python']} on {kind['platform']}: 'python3 scripts/start.py' needs no internet there.")
