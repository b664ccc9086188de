"""The bounded reader: it reads what is there and never more."""

from __future__ import annotations

from struct import Struct

import pytest

from netwatch.decode.reader import CUT, SHORT, Reader, Unreadable


def test_numbers_in_both_orders() -> None:
    reader = Reader(bytes(range(1, 13)))
    assert (reader.u8(), reader.u16(), reader.le16(), reader.u32()) == (0x01, 0x0203, 0x0504, 0x06070809)
    assert reader.take(2) == b"\x0a\x0b"
    reader.skip(1)
    assert reader.left == 0


@pytest.mark.parametrize(("cut", "reason"), [(False, SHORT), (True, CUT)])
def test_the_end_is_the_end(cut: bool, reason: str) -> None:
    reader = Reader(b"ab", cut)
    for read in (reader.u32, lambda: reader.take(3), lambda: reader.skip(3), lambda: reader.fields(Struct(">I"))):
        with pytest.raises(Unreadable, match=reason):
            read()
    assert reader.left == 2


def test_what_is_missing_behind_the_least_counts_as_zero() -> None:
    layout = Struct(">BHB")
    assert Reader(b"\x01\x02").padded(layout, 1) == (1, 0x0200, 0)
    assert Reader(b"\x01\x02\x03\x04\x05").padded(layout, 1) == (1, 0x0203, 4)
    with pytest.raises(Unreadable, match=SHORT):
        Reader(b"\x01").padded(layout, 2)
    with pytest.raises(Unreadable, match=CUT):
        Reader(b"\x01\x02", cut=True).padded(layout, 1)


def test_a_part_ends_where_it_ends() -> None:
    reader = Reader(b"abcdef", cut=True)
    part = reader.restrict(2)
    assert part.take(2) == b"ab"
    with pytest.raises(Unreadable, match=SHORT):
        part.u8()
    assert reader.left == 4
