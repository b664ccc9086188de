"""Draws the pictures of the README with the program itself, from the demo captures.

    .venv/bin/python scripts/pictures.py
"""

from __future__ import annotations

import asyncio
import re
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from netwatch.commands.tape import Tape
from netwatch.numbers import DEFAULTS
from netwatch.screens.app import NetwatchApp
from netwatch.story.play import Player

PICTURES = {"first-screen.svg": ("01-first-evening.pcapng.gz", (110, 34))}
"""Name of the picture: (capture, columns and rows)."""


async def draw(capture: Path, size: tuple[int, int]) -> str:
    """The first screen as SVG, without the links to fonts that the library puts in."""
    tape = Tape([str(capture)], Player(DEFAULTS))
    tape.load(lambda done, total: None)
    tape.finish()
    app = NetwatchApp(tape)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        drawn = app.export_screenshot(title="netwatch")
    drawn = re.sub(r"@font-face \{.*?\}\s*", "", drawn, flags=re.DOTALL)
    return drawn.replace("<text ", '<text xml:space="preserve" ')  # else some viewers drop leading spaces


def main() -> None:
    """Write all pictures beside the captures."""
    for name, (capture, size) in PICTURES.items():
        (ROOT / "captures" / name).write_text(asyncio.run(draw(ROOT / "captures" / capture, size)), encoding="utf-8")


if __name__ == "__main__":
    main()
