"""Start netwatch. Without arguments it plays the evening in captures/; else the arguments are passed on.

    python3 scripts/start.py
    python3 scripts/start.py replay last-night.pcapng
    python3 scripts/start.py --pack            keeps all packages beside the code, for a laptop without internet
    python3 scripts/start.py --rights          gives the right to read frames, once; '--rights back' takes it back
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


def prepare(arguments: list[str]) -> str | None:
    """--pack and --rights; what was done, None for any other arguments."""
    if arguments == ["--pack"]:
        import pack

        return pack.pack()
    if arguments[:1] == ["--rights"]:
        import rights

        if arguments[1:] not in ([], ["back"]):
            sys.exit("Write 'python3 scripts/start.py --rights' to give the right, '--rights back' to take it back.")
        return rights.take_back() if arguments[1:] else rights.give()
    return None


if __name__ == "__main__":
    done = prepare(sys.argv[1:])
    if done is not None:
        sys.exit(print(done))
    environment.run(["-m", "netwatch", *(sys.argv[1:] or demo())])
