"""Start netwatch. Without arguments it plays the evening in captures/; else the arguments are passed on.

    python3 scripts/start.py
    python3 scripts/start.py replay last-night.pcapng
"""

from __future__ import annotations

import sys

import environment

EVENING = environment.ROOT / "captures" / "02-a-long-evening.pcapng.gz"
"""Ten minutes in which four things go wrong, one after another."""


def demo() -> list[str]:
    """Arguments that play the evening."""
    if not EVENING.exists():
        sys.exit(f"captures/{EVENING.name} is missing; name a capture: python3 scripts/start.py replay FILE")
    return ["replay", str(EVENING)]


if __name__ == "__main__":
    environment.run(["-m", "netwatch", *(sys.argv[1:] or demo())])
