"""Fixed-size headers read at arbitrary byte positions: one memory copy a row, then columns by name.

A layout is the byte table of a standard: each field's offset and format, '>u2' big-endian and '<u2' little-endian. Fields may
overlap, so several small ones can be compared as one number, and 48-bit MACs are read as the upper part of 64 bits.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Column

Layout = np.dtype[np.void]
Header = npt.NDArray[np.void]


def layout(size: int, /, **fields: tuple[int, str]) -> Layout:
    """A header of ``size`` octets; each field is (offset, format)."""
    offsets, formats = zip(*fields.values(), strict=True)
    return np.dtype({"names": list(fields), "formats": list(formats), "offsets": list(offsets), "itemsize": size})


def read(data: Column, at: Column, header: Layout) -> Header:
    """The header at each byte ``at`` of ``data``; what lies behind the end of a packet is the caller's to mask."""
    last = len(data) - header.itemsize
    windows = np.ndarray((last + 1,), _opaque(header), data, strides=(1,))
    return windows[np.minimum(at, last)].view(header)


def pick(header: Header, rows: Column) -> Header:
    """``header[rows]``, but copied row by row instead of field by field (six times as fast)."""
    return header.view(_opaque(header.dtype))[rows].view(header.dtype)


def _opaque(header: Layout) -> Layout:
    return np.dtype((np.void, header.itemsize))
