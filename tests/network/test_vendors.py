"""MAC vendors against the registry files themselves (IEEE Registration Authority, as Debian's ieee-data ships them)."""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from netwatch.network.vendors import LIST_DATE, is_group, is_made_up, vendor

REGISTRY = Path("/usr/share/ieee-data")
FILES = {"oui.csv": 6, "mam.csv": 7, "oui36.csv": 9, "iab.csv": 9}
"""The file and the hex digits of its prefixes (24, 28, 36 bits)."""


def card(prefix: str) -> str:
    """A MAC address under a prefix, the rest of its digits zero."""
    digits = prefix.ljust(12, "0")
    return ":".join(digits[i : i + 2] for i in range(0, 12, 2))


def registry() -> dict[str, set[str]]:
    """Prefix to the names that the registry gives it; empty set = it names nobody."""
    names: dict[str, set[str]] = {}
    for file, digits in FILES.items():
        with (REGISTRY / file).open(encoding="utf-8", newline="") as lines:
            for row in csv.DictReader(lines):
                assert len(row["Assignment"]) == digits
                name = " ".join(row["Organization Name"].split())
                known = names.setdefault(row["Assignment"], set())
                known |= {name} - {"Private", "IEEE Registration Authority", ""}
    return names


def test_every_prefix_of_the_registry_gives_its_name() -> None:
    stamp = REGISTRY / ".lastupdate"
    if not all((REGISTRY / file).exists() for file in FILES) or not stamp.exists():
        pytest.skip("the registry files are not here (Debian's package ieee-data)")
    if datetime.fromtimestamp(int(stamp.read_text()), UTC).date() != date.fromisoformat(LIST_DATE):
        pytest.skip(f"the registry files here are not those of {LIST_DATE}")
    names = registry()
    wrong = []
    for prefix in names:
        mac = card(prefix)
        digits = mac.replace(":", "")
        deepest = next(digits[:n] for n in (9, 7, 6) if digits[:n] in names)
        allowed = {""} if is_made_up(mac) or not names[deepest] else names[deepest]
        if vendor(mac) not in allowed:
            wrong.append((prefix, allowed, vendor(mac)))
    assert wrong == []


def test_the_longest_prefix_counts() -> None:
    """Registry rows (read in ieee-data of 2022-08-27): 70B3D5F2F and 70B3D5719 are cut from 70B3D5, 208593B from 208593."""
    assert vendor("70:b3:d5:f2:f0:01") == "TELEPLATFORMS"
    assert vendor("70:b3:d5:71:9f:ff") == "2M Technology"
    assert vendor("20:85:93:b0:00:01") == "IOG Products LLC"
    assert vendor("08:61:95:00:00:01") == "Rockwell Automation"


def test_case_does_not_matter() -> None:
    assert vendor("F4:BD:9E:12:34:56") == vendor("f4:bd:9e:12:34:56") == "Cisco Systems, Inc"


@pytest.mark.parametrize("mac", ["02:42:ac:11:00:02", "da:a1:19:00:00:01", "AA:00:04:00:01:02", "fe:ff:ff:00:00:01"])
def test_a_made_up_address_has_no_maker(mac: str) -> None:
    """U/L bit set (IEEE 802-2014 8.2)."""
    assert is_made_up(mac)
    assert vendor(mac) == ""


@pytest.mark.parametrize("mac", ["ff:ff:ff:ff:ff:ff", "01:00:5e:7f:00:01", "33:33:00:00:00:01", "01:80:c2:00:00:0e"])
def test_a_group_address_has_no_maker(mac: str) -> None:
    """I/G bit set (IEEE 802-2014 8.2; RFC 1112 6.4 and RFC 2464 7 for two of these)."""
    assert is_group(mac)
    assert vendor(mac) == ""


@pytest.mark.parametrize("text", ["", "zz", "00:11:22", "not a mac at all", "00:11:22:33:44:55:66", ":::::::::::"])
def test_what_is_no_mac_has_no_maker(text: str) -> None:
    assert vendor(text) == ""


def test_the_date_is_a_date() -> None:
    assert date(2020, 1, 1) < date.fromisoformat(LIST_DATE)
