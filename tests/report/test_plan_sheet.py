"""The printed plan. Subnets against RFC 950 and ``ipaddress``, groups against E1.31-2018 9.3.1, HTML by Python's parser."""

from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser
from ipaddress import IPv4Address, IPv4Network

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netwatch.numbers import DEFAULTS
from netwatch.plan.rig import Device, Dhcp, Plan, Subnet
from netwatch.plan.universes import lights
from netwatch.report.plan_sheet import octets, page, page_for_it, universes, unused
from tests.plan.garden import garden


class Read(HTMLParser):
    """Tags, texts and attributes of a page; every tag that opens closes in order."""

    VOID = frozenset({"meta", "br", "link", "img", "hr", "input"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.texts: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if data.strip() and self.open[-1] != "style":
            self.texts.append(" ".join(data.split()))


def both(plan: Plan) -> list[str]:
    return [page(plan, "rig.toml"), page_for_it(plan, "rig.toml", DEFAULTS)]


@pytest.mark.parametrize("made", both(garden()), ids=["sheet", "it"])
def test_it_is_whole_in_itself(made: str) -> None:
    read = Read(made)
    assert not set(read.tags) & {"script", "link", "img", "iframe", "object"}
    assert not [value for name, value in read.attributes if name in ("src", "href") or name.startswith("on")]
    assert any((value or "").startswith("default-src 'none'") for name, value in read.attributes if name == "content")
    assert "url(" not in made
    assert "@import" not in made


def test_every_box_has_its_label_and_its_row() -> None:
    plan, read = garden(), Read(page(garden(), "garden.toml"))
    assert read.attributes.count(("class", "label")) == 40
    for device in plan.devices:
        assert read.texts.count(device.name) >= 3  # by place, by address, on its label
        if device.address is not None:
            assert read.texts.count(str(device.address)) >= 3
    assert {each.place for each in plan.devices} <= set(read.texts)
    assert {"239.255.0.1", "0.1.7", "A1", "C8", "255.255.0.0 (/16)"} <= set(read.texts)
    assert "receives sACN 12-13 (B4 and B5)" in read.texts


def test_hostile_names_are_text() -> None:
    bad = "<script>alert(1)</script>\" onload=\"x\u202e{{ 7*7 }}"
    plan = replace(garden(), name=bad, devices=(Device(name=bad, place=bad, asset=bad, address=IPv4Address("10.77.0.9")),))
    for made in both(plan):
        assert "<script" not in made
        assert "\u202e" not in made
        assert "49" not in Read(made).texts
        assert not [name for name, _ in Read(made).attributes if name.startswith("on")]


@pytest.mark.parametrize(("network", "parts"), [
    ("10.77.0.0/16", ["10 fixed", "77 fixed", "0 to 255 free", "0 to 255 free"]),
    ("128.99.4.0/22", ["128 fixed", "99 fixed", "4 to 7 partly", "0 to 255 free"]),
    ("192.1.127.0/27", ["192 fixed", "1 fixed", "127 fixed", "0 to 31 partly"]),
    ("2.0.0.0/8", ["2 fixed", "0 to 255 free", "0 to 255 free", "0 to 255 free"]),
    ("10.0.0.64/26", ["10 fixed", "0 fixed", "0 fixed", "64 to 127 partly"]),
])
def test_what_the_mask_fixes(network: str, parts: list[str]) -> None:
    """Class B with 6 and class C with 3 subnet bits are RFC 950 appendix I's (from memory); 10.0.0.64/26 is a handbook's."""
    assert [f"{text} {kind}" for text, kind in octets(IPv4Network(network))] == parts


@given(st.integers(20, 29), st.lists(st.integers(1, 4000)), st.booleans())
def test_what_is_unused_is_free(length: int, taken: list[int], with_pool: bool) -> None:
    network = IPv4Network((0x0A4D0000, length))
    hosts = [IPv4Address(int(network[1]) + each % (network.num_addresses - 2)) for each in taken]
    pool = Dhcp(server=network[2], first=network[3], last=network[-2]) if with_pool else None
    plan = Plan(subnets=(Subnet(network=network),), dhcp=pool)
    runs = unused(plan, network, hosts)
    free = [IPv4Address(value) for first, last in runs for value in range(int(first), int(last) + 1)]
    assert len(free) == len(set(free))
    assert set(free) <= set(network.hosts()) - set(hosts)
    assert not any(int(each) & 255 in (0, 255) for each in free)
    assert pool is None or not any(pool.gives(each) or each == pool.server for each in free)


def test_universes_in_words() -> None:
    assert universes(lights("1-3, 9, 0.0.0-0.1.7")) == "sACN 1-3, 9, Art-Net 0.0.0-0.1.7 (0-23)"
    assert universes(()) == ""


def test_what_the_it_department_needs_to_know() -> None:
    text = " ".join(Read(page_for_it(garden(), "garden.toml", DEFAULTS)).texts)
    for part in (
        "IGMP snooping only together with one IGMP querier (version 2 or 3): We bring one (core switch (10.77.0.1)).",
        "10.77.0.0, mask 255.255.0.0 (/16) in VLAN 10", "Our server rack (10.77.0.2) gives out 10.77.100.10 to 10.77.100.99",
        "edge ports", "No client isolation", "17 multicast groups (239.255.0.1 to 239.255.0.16", "below 1,100 packets a second",
        "UDP ports 5568 (sACN) and 6454 (Art-Net)", "28 Nov 2026 17:00 to 22:00",
    ):  # fmt: skip
        assert part in text
    empty = " ".join(Read(page_for_it(Plan(), "rig.toml", DEFAULTS)).texts)
    assert "One VLAN for the lighting network alone" in empty
    assert "multicast groups" not in empty
