"""How fast the screens answer, through a pseudo-terminal: from start to the first picture, from a key or a jump to its picture.

    .venv/bin/python scripts/bench_screen.py [NAME ...]      sudo for 'live'; it needs tcpreplay, too
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from measure import living, screens  # noqa: E402

BENCHES: dict[str, Callable[[Path], None]] = {
    "first": screens.first, "keys": screens.keys, "many": screens.many, "moments": screens.moments, "live": screens.live,
}  # fmt: skip


def main() -> None:
    """Run the named benches, or all."""
    names = sys.argv[1:] or list(BENCHES)
    for name in names:
        if name not in BENCHES:
            sys.exit(f"No bench is called {name!r}; there are: {', '.join(BENCHES)}.")
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            if name == "live" and living.unable():
                print(f"{name}: {living.unable()}")
            else:
                BENCHES[name](Path(folder))


if __name__ == "__main__":
    main()
