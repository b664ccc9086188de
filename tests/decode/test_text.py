"""Names from packets: what a stranger can put into one never reaches a screen as it stands."""

from __future__ import annotations

import ipaddress
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.decode.text import MOST, address_text, clean, mac_number, mac_text

HOSTILE = [
    0x07, 0x0A, 0x0D, 0x1B, 0x7F, 0x80, 0x9B, 0x061C, 0x200B, 0x200E, 0x200F, 0x2028, 0x202A, 0x202E, 0x2066, 0x2069, 0xFEFF,
    0x034F, 0x115F, 0x3164, 0xFE0F, 0xFFA0, 0x1D173, 0xE0100,
]  # fmt: skip


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (b"lantern walk\0left over", "lantern walk"),
        (b"mill pond    ", "mill pond"),
        (b"\x1b[2Jgone", "\\x1b[2Jgone"),
        (b"[/nope] [bold]x", "[/nope] [bold]x"),
        ("orchard \u202edrahcro".encode(), "orchard \\u202edrahcro"),
        ("a\ud800b", "a\\ud800b"),
        (b"a\tb\nc", "a\\x09b\\x0ac"),
        ("Vorschau é".encode(), "Vorschau é"),
        (b"latin \xe9 one", "latin \ufffd one"),
        (b"\xed\xa0\x80", "\ufffd\ufffd\ufffd"),  # a surrogate is no UTF-8 (RFC 3629 section 3)
        ("\U000e0041tag", "\\U000e0041tag"),
        ("", ""),
        (b"\0hidden", ""),
    ],
)
def test_a_name_is_made_safe(value: bytes | str, shown: str) -> None:
    assert clean(value) == shown


@pytest.mark.parametrize("code", HOSTILE)
def test_a_hidden_character_becomes_visible(code: int) -> None:
    shown = clean(f"a{chr(code)}b")
    assert chr(code) not in shown
    assert f"{code:02x}" in shown


def test_no_control_or_format_character_gets_through() -> None:
    """Categories Cc, Cf, Cs, Zl and Zp of the Unicode character database, but for visible signs of number and script."""
    visible = {0x600, 0x601, 0x602, 0x603, 0x604, 0x605, 0x6DD, 0x70F, 0x890, 0x891, 0x8E2, 0x110BD, 0x110CD}
    shaping = {*range(0x13430, 0x13460), *range(0x1BCA0, 0x1BCA4), *range(0x1D173, 0x1D17B)}
    for code in range(1, 0x110000):
        if unicodedata.category(chr(code)) in {"Cc", "Cf", "Cs", "Zl", "Zp"} and code not in visible | shaping:
            assert clean(f"a{chr(code)}b") != f"a{chr(code)}b", hex(code)


def test_a_long_name_is_cut_and_says_so() -> None:
    shown = clean("é" * 1000)
    assert len(shown) == MOST
    assert shown.endswith("…")
    assert clean("é" * MOST) == "é" * MOST
    assert clean("abcdef", 4) == "abc…"
    assert clean("\x1b" * 300).startswith("\\x1b\\x1b")


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=400) | st.text(max_size=400))
def test_what_is_clean_stays_so_and_can_be_written(value: bytes | str) -> None:
    shown = clean(value)
    assert clean(shown) == shown
    assert len(shown) <= MOST
    shown.encode("utf-8")
    assert not any(unicodedata.category(sign) in {"Cc", "Cs"} for sign in shown)


@settings(max_examples=100, deadline=None)
@given(st.integers(1, 2**32 - 1), st.integers(1, 2**48 - 1))
def test_addresses_read_as_the_standard_library_writes_them(address: int, mac: int) -> None:
    assert address_text(address) == str(ipaddress.IPv4Address(address))
    assert mac_text(mac) == ":".join(f"{mac:012x}"[at : at + 2] for at in range(0, 12, 2))
    assert mac_number(mac_text(mac)) == mac


def test_none_is_empty() -> None:
    assert (address_text(0), mac_text(0), mac_number("")) == ("", "", 0)
