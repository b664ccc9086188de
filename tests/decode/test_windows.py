"""Headers at arbitrary positions, against struct."""

from __future__ import annotations

from struct import unpack_from

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.decode.windows import layout, read

HEADER = layout(11, big=(1, ">u2"), little=(3, "<u4"), octet=(10, "u1"), overlapping=(2, ">u8"))


@settings(max_examples=50, deadline=None)
@given(st.binary(min_size=11, max_size=80), st.lists(st.integers(0, 69), max_size=9))
def test_fields_as_struct_reads_them(data: bytes, positions: list[int]) -> None:
    positions = [at for at in positions if at + 11 <= len(data)]
    header = read(np.frombuffer(data, np.uint8), np.array(positions, np.int64), HEADER)
    assert header["big"].tolist() == [unpack_from(">H", data, at + 1)[0] for at in positions]
    assert header["little"].tolist() == [unpack_from("<I", data, at + 3)[0] for at in positions]
    assert header["octet"].tolist() == [data[at + 10] for at in positions]
    assert header["overlapping"].tolist() == [unpack_from(">Q", data, at + 2)[0] for at in positions]


def test_position_too_near_the_end_reads_the_last_window() -> None:
    data = np.arange(20, dtype=np.uint8)
    assert read(data, np.array([9, 10, 5000]), HEADER)["octet"].tolist() == [19, 19, 19]
