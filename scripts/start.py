"""Start netwatch. Without arguments it plays the first capture of captures/; else the arguments are passed on.

    python3 scripts/start.py
    python3 scripts/start.py replay last-night.pcapng
"""

from __future__ import annotations

import sys

import environment


def demo() -> list[str]:
    """Arguments that play the first capture of captures/."""
    captures = sorted((environment.ROOT / "captures").glob("*.pcapng.gz"))
    if not captures:
        sys.exit("There is no capture in captures/; name one: python3 scripts/start.py replay FILE")
    return ["replay", str(captures[0])]


if __name__ == "__main__":
    environment.run(["-m", "netwatch", *(sys.argv[1:] or demo())])
