"""How fast, side by side in one run: best of five, ratios first. Needs the test packages (dpkt, scapy).

    .venv/bin/python scripts/bench.py [NAME ...]      sudo for 'line' and 'storm'; they need tcpreplay, too
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from measure import flooding, living, replaying, storming  # noqa: E402

REPLAYING: dict[str, Callable[[Path], None]] = {
    "replay": replaying.replay, "mixed": replaying.mixed, "rules": replaying.rules, "hour": replaying.hour,
    "many": replaying.many, "growth": replaying.growth, "start": replaying.start, "floods": flooding.floods,
}  # fmt: skip
LIVING: dict[str, Callable[[Path], None]] = {"line": living.line, "storm": storming.storm}
BENCHES = REPLAYING | LIVING


def main() -> None:
    """Run the named benches, or all."""
    names = sys.argv[1:] or list(BENCHES)
    for name in names:
        if name not in BENCHES:
            sys.exit(f"No bench is called {name!r}; there are: {', '.join(BENCHES)}.")
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            if name in LIVING and living.unable():
                print(f"{name}: {living.unable()}")
            else:
                BENCHES[name](Path(folder))


if __name__ == "__main__":
    main()
