"""What --levels names: a universe, and DMX channels of it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from ..exits import Exit, Stop

if TYPE_CHECKING:
    from ..network.history import Look

HOW = "write 3/1-20 for sACN universe 3, or 0.1.5/1-20 (also a21/1-20) for Art-Net"
_LAST = {"sACN": 63_999, "Art-Net": 32_767}
"""E1.31-2018 9.1.1; Art-Net 4: Port-Address of 15 bits."""


def look(text: str) -> Look:
    """'3/1-20', '3/7', '3', '0.1.5/1-20', 'a21/1-20'. Raises ``Stop``."""
    from ..decode.tables import ARTNET, E131
    from ..network.history import Look

    universe, slash, range_ = text.strip().partition("/")
    first, last = _channels(range_) if slash else (1, 512)
    if re.fullmatch(r"[0-9]{1,6}", universe):
        return Look(E131, _within(int(universe), "sACN", 1), first, last)
    if re.fullmatch(r"[aA][0-9]{1,6}", universe):
        return Look(ARTNET, _within(int(universe[1:]), "Art-Net", 0), first, last)
    if re.fullmatch(r"[0-9]{1,3}\.[0-9]{1,2}\.[0-9]{1,2}", universe):
        net, sub, number = (int(part) for part in universe.split("."))
        if net > 127 or sub > 15 or number > 15:
            raise _wrong(f"Art-Net universe {universe} does not exist: net is 0 to 127, sub-net and universe are 0 to 15")
        return Look(ARTNET, net << 8 | sub << 4 | number, first, last)
    raise _wrong(f"--levels {text!r} names no universe")


def _channels(text: str) -> tuple[int, int]:
    found = re.fullmatch(r"([0-9]{1,3})(?:-([0-9]{1,3}))?", text)
    first, last = (int(found[1]), int(found[2] or found[1])) if found else (0, 0)
    if not 1 <= first <= last <= 512:
        raise _wrong(f"--levels: {text!r} are no DMX channels (1 to 512, the lower first)")
    return first, last


def _within(universe: int, protocol: str, least: int) -> int:
    if not least <= universe <= _LAST[protocol]:
        raise _wrong(f"{protocol} universe {universe} does not exist: they are {least} to {_LAST[protocol]}")
    return universe


def _wrong(what: str) -> Stop:
    return Stop(Exit.USAGE, f"{what}; {HOW}.")
