"""When each address was last used, light included, as of the newest step of the 10 s grid.

Between the steps the figures stand still, so that it does not matter when a rule reads them.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from netwatch.network.claims import Claims

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]


class Presence:
    """Beside ``Claims``, by its ids."""

    def __init__(self) -> None:
        self._last = np.zeros(0, np.int64)

    def close_bucket(self, claims: Claims, light: tuple[U64, U64], last: I64) -> None:
        """A step of the grid ends; ``light`` = the claims of all flows of light, ``last`` = ns of their newest packets."""
        self._last = claims.last[: claims.table.size].copy()
        ids = claims.table.find(light)
        known = ids >= 0
        np.maximum.at(self._last, ids[known], last[known])

    def last(self, claims: Claims, claim: int) -> int:
        """ns; of a claim that came since the newest step, when it came."""
        first = int(claims.first[claim])
        return max(first, int(self._last[claim])) if claim < len(self._last) else first
