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

from netwatch.commands.tape import Tape  # noqa: E402
from netwatch.numbers import DEFAULTS  # noqa: E402
from netwatch.screens.app import NetwatchApp  # noqa: E402
from netwatch.story.play import Player  # noqa: E402

EVENING = "02-a-long-evening.pcapng.gz"
PICTURES: dict[str, tuple[str, tuple[int, int], float, tuple[str, ...]]] = {
    "first-screen.svg": ("01-first-evening.pcapng.gz", (110, 34), 1.0, ()),
    "evening-screen.svg": (EVENING, (110, 28), 1.0, ("5",)),
    "levels-screen.svg": (EVENING, (110, 26), 0.8, ("2", "down", "enter", "enter")),
    "see-screen.svg": (EVENING, (110, 34), 0.67, ("w", "enter", "3", "enter")),
}
"""Name of the picture: (capture, columns and rows, the moment as a part of the whole, keys)."""


async def draw(capture: Path, size: tuple[int, int], part: float, keys: tuple[str, ...]) -> str:
    """What is seen after the keys as SVG, without the links to fonts that the library puts in."""
    tape = Tape([str(capture)], Player(DEFAULTS))
    tape.load(lambda done, total: None)
    tape.finish()
    tape.seek(tape.first + int((tape.last - tape.first) * part))
    app = NetwatchApp(tape)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        for key in keys:
            await pilot.press(key)
            await pilot.pause(0.3)
        drawn = app.export_screenshot(title="netwatch")
    drawn = re.sub(r"@font-face \{.*?\}\s*", "", drawn, flags=re.DOTALL)
    return drawn.replace("<text ", '<text xml:space="preserve" ')  # else some viewers drop leading spaces


def main() -> None:
    """Write all pictures beside the captures."""
    for name, (capture, *how) in PICTURES.items():
        (ROOT / "captures" / name).write_text(asyncio.run(draw(ROOT / "captures" / capture, *how)), encoding="utf-8")


if __name__ == "__main__":
    main()
