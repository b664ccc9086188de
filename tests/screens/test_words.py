"""Values as words."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from screen_helpers import NS, at, stream

from netwatch.screens.words import cell, clock, count, flow, light, rate, safe, share, span, universe


@pytest.mark.parametrize(
    ("seconds", "long", "coarse"),
    [
        (-3, "0 s", "0 s"),
        (0, "0 s", "0 s"),
        (59.9, "59 s", "59 s"),
        (60, "1 min 00 s", "1 min"),
        (200, "3 min 20 s", "3 min"),
        (7_500, "2 h 05 min", "2 h"),
        (3 * 86_400 + 4 * 3600, "3 d 04 h", "3 d"),
    ],
)
def test_span(seconds: float, long: str, coarse: str) -> None:
    assert span(int(seconds * NS)) == long
    assert span(int(seconds * NS), coarse=True) == coarse


def test_clock_is_local_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """POSIX.1-2017, 8.3: TZ=EST5 is five hours behind UTC."""
    import time

    assert clock(at(0)) == "20:00:00"
    monkeypatch.setenv("TZ", "EST5")
    time.tzset()
    assert clock(at(0)) == "15:00:00"
    assert clock(None) == "not known"


@pytest.mark.parametrize(("number", "said"), [(0, "0:0:0"), (0x7F, "0:7:15"), (0x7FFF, "127:15:15"), (0x1234, "18:3:4")])
def test_artnet_by_its_three_numbers(number: int, said: str) -> None:
    """Art-Net 4: bits 14-8 of a Port-Address are the Net, 7-4 the Sub-Net, 3-0 the Universe."""
    assert universe("artnet", number) == f"Art-Net {said}"
    assert universe("e131", number) == f"sACN {number}"


def test_counts_rates_and_shares() -> None:
    assert [count(1, "packet"), count(84_213, "packet")] == ["1 packet", "84,213 packets"]
    assert [rate(None), rate(0.0), rate(9.94), rate(43.9)] == ["", "0.0", "9.9", "44"]
    assert [share(0, 9), share(1, 0), share(1, 100_000), share(12, 1000)] == ["", "", "<0.1 %", "1.2 %"]


def test_light_in_words() -> None:
    now = at(760)
    assert light(stream(1), now) == "212 lit"
    assert light(stream(1, lit=0), now) == "all at zero"
    assert light(stream(1, preview=True), now) == "preview only"
    assert light(stream(1, silent=True, last=at(700)), now) == "silent 1 min"
    assert light(stream(1, silent=True, ended=True), now) == "signed off"


def test_nothing_that_a_terminal_obeys_gets_through() -> None:
    """ECMA-48 control functions, and the bidirectional controls of Unicode Annex 9."""
    bad = "a\x1b[31mb\x9b2Jc\x00d\u202ee\ufefff\ng\tz"
    assert safe(bad).isprintable()
    assert safe(bad).replace("\ufffd", "") == "a[31mb2Jcdefgz"
    assert safe("Gärten, 庭, plain") == "Gärten, 庭, plain"


@given(st.text(), st.integers(1, 90), st.booleans())
@settings(max_examples=200, deadline=None)
def test_a_cell_is_exactly_as_wide_as_asked(value: str, width: int, right: bool) -> None:
    assert cell(value, width, right=right).cell_len == width


@given(st.lists(st.tuples(st.text(), st.just("bold")), max_size=3), st.integers(2, 90))
@settings(max_examples=200, deadline=None)
def test_a_paragraph_keeps_to_its_width_and_loses_nothing(pieces: list[tuple[str, str]], width: int) -> None:
    lines = flow(tuple(pieces), width)
    assert lines
    assert all(cell_len(line.plain) <= width for line in lines)
    told = "".join("".join(line.plain for line in lines).split())
    assert told == "".join("".join(safe(text) for text, _ in pieces).split())
