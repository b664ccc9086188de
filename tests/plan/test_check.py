"""Contradictions in a plan: each is found, and nothing else. Frame sizes against scapy, groups against RFC 1112 and E1.31."""

from __future__ import annotations

from dataclasses import replace
from ipaddress import IPv4Address

import pytest
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import Ether

from netwatch.numbers import DEFAULTS
from netwatch.plan import toml_file
from netwatch.plan.check import problems
from netwatch.plan.check_addresses import small_refuse
from netwatch.plan.check_light import LINE_BYTES, fitting, mbit
from netwatch.plan.universes import ARTNET, E131
from netwatch.report.plan import checked
from netwatch.words import plan_checks
from tests.plan.garden import garden

CLEAN = """
[[subnet]]
network = "10.0.0.0/24"
[dhcp]
server = "rack"
first = "10.0.0.100"
last = "10.0.0.199"
[querier]
device = "10.0.0.2"
[[universe]]
sacn = 1
artnet = "0.0.0"
desk = "A1"
[[universe]]
sacn = 2
artnet = "0.0.1"
[[device]]
name = "rack"
address = "10.0.0.1"
asset = "HG-1"
mac = "02:00:00:00:00:01"
[[device]]
name = "desk"
address = "10.0.0.10"
asset = "HG-2"
mac = "02:00:00:00:00:02"
sends = [1, "0.0.1"]
priority = 100
[[device]]
name = "node"
address = "10.0.0.21"
receives = [1, "0.0.1"]
"""
DESK = 'name = "desk"\naddress = "10.0.0.10"'
NODE = 'name = "node"\naddress = "10.0.0.21"'
RANGE = 'first = "10.0.0.100"\nlast = "10.0.0.199"'


def codes(text: str) -> list[str]:
    return [each.code for each in problems(toml_file.parse(text), DEFAULTS)]


def test_a_clean_plan_has_none() -> None:
    assert codes(CLEAN) == []


def test_the_garden_has_a_backup_and_nothing_else() -> None:
    assert [(each.code, each.severity) for each in problems(garden(), DEFAULTS)] == [("standby", "note")]


@pytest.mark.parametrize(("old", "new", "found"), [
    ('name = "node"', 'name = "Desk"', ["name-twice"]),
    ("10.0.0.21", "10.0.0.10", ["address-twice"]),
    (":02\"", ":01\"", ["mac-twice"]),
    ("HG-2", "hg-1", ["asset-twice"]),
    ("[[subnet]]", '[[subnet]]\nnetwork = "10.0.0.0/8"\n[[subnet]]', ["subnets-overlap"]),
    ('address = "10.0.0.21"', "", ["no-address"]),
    (f'[dhcp]\nserver = "rack"\n{RANGE}', "", []),
    (f'[dhcp]\nserver = "rack"\n{RANGE}', '[[device]]\nname = "hut"\naddress = "dhcp"', ["no-server"]),
    ("10.0.0.21", "169.254.3.4", ["link-local"]),
    ("10.0.0.21", "10.0.1.21", ["outside"]),
    ('device = "10.0.0.2"', 'device = "10.0.1.2"', ["outside"]),
    (NODE, f'{NODE}\nmask = "255.0.0.0"', ["mask-differs"]),
    (NODE, f'{NODE}\nmask = "255.255.255.0"', []),
    ("10.0.0.21", "10.0.0.255", ["no-host"]),
    ("10.0.0.21", "10.0.0.0", ["no-host"]),
    ("10.0.0.21", "10.0.0.150", ["in-pool"]),
    ('address = "10.0.0.1"', 'address = "10.0.0.150"', ["in-pool"]),
    ('server = "rack"', 'server = "10.0.0.150"', ["in-pool"]),
    ("10.0.0.199", "10.0.1.50", ["pool-outside"]),
    ("10.0.0.199", "10.0.0.255", ["pool-ends"]),
    ("10.0.0.199", "10.0.0.110", ["pool-tight"]),
    ('server = "rack"', 'server = "10.1.0.1"', ["pool-elsewhere", "outside"]),
    (RANGE, 'first = "10.0.0.100"\nlast = "10.0.0.100"' + "".join(
        f'\n[[device]]\nname = "{name}"\naddress = "dhcp"' for name in "ab"
    ), ["pool-small"]),
    ('receives = [1,', 'sends = [1]\nreceives = [1,', ["sent-twice"]),
    ('receives = [1,', 'sends = [1]\npriority = 90\nreceives = [1,', ["standby"]),
    ('receives = [1,', 'sends = ["0.0.1"]\npriority = 90\nreceives = [1,', ["sent-twice"]),
    ("receives = [1,", "receives = [1, 2,", ["nobody-sends"]),
    ("sends = [1,", "sends = [1, 2,", ["nobody-receives"]),
    ("sends = [1,", "sends = [1, 3,", ["nobody-receives", "not-numbered"]),
    ("sacn = 2", "sacn = 1", ["numbered-twice", "offset-differs"]),
    ('artnet = "0.0.1"', 'artnet = "0.0.2"', ["offset-differs", "not-numbered"]),
    ('artnet = "0.0.1"', 'artnet = "0.0.1"\ndesk = "A1"', ["desk-twice"]),
    ("[[subnet]]", '[[group]]\naddress = "239.127.0.1"\n[[subnet]]', ["group-mac"]),
    ("[[subnet]]", '[[group]]\naddress = "225.255.0.1"\n[[subnet]]', ["group-mac"]),
    ("[[subnet]]", '[[group]]\naddress = "239.255.0.1"\n[[subnet]]', ["group-same"]),
    ("[[subnet]]", '[[group]]\naddress = "239.69.0.1"\n[[group]]\naddress = "224.0.1.129"\n[[subnet]]', []),
    ('[querier]\ndevice = "10.0.0.2"', "", ["no-querier"]),
])
def test_each_contradiction_is_found_and_nothing_else(old: str, new: str, found: list[str]) -> None:
    assert codes(CLEAN.replace(old, new, 1)) == found


def test_addresses_that_small_devices_refuse() -> None:
    """192.168.0.255/23 and 192.168.1.0/23 may be used (RFC 950), yet many boxes refuse them: common practice, no source."""
    for address in ("192.168.0.255", "192.168.1.0"):
        assert codes(f'[[subnet]]\nnetwork = "192.168.0.0/23"\n[[device]]\nname = "a"\naddress = "{address}"') == ["small-boxes"]
    assert not small_refuse(IPv4Address("10.0.0.254"))


APART = """
[[subnet]]
network = "10.0.0.0/24"
[[subnet]]
network = "2.0.0.0/8"
[querier]
device = "10.0.0.2"
[[device]]
name = "desk"
address = "10.0.0.10"
sends = [1, "0.0.1"]
[[device]]
name = "node"
address = "2.0.0.10"
receives = [1, "0.0.1"]
"""


def test_boxes_of_two_subnets() -> None:
    """Art-Net is sent by unicast (Art-Net 4 p.58), sACN by multicast, which masks do not stop, but VLANs do (IEEE 802.1Q)."""
    assert codes(APART) == ["artnet-apart"]
    assert codes(APART.replace('0/24"', '0/24"\ngateway = "10.0.0.1"')) == []
    with_vlans = APART.replace('0/24"', '0/24"\ngateway = "10.0.0.1"\nvlan = 10').replace('0/8"', '0/8"\nvlan = 20')
    assert set(codes(with_vlans)) == {"vlans-apart"}


@pytest.mark.parametrize(("protocol", "payload"), [(E131, 638), (ARTNET, 530)])
def test_sizes_on_the_wire(protocol: str, payload: int) -> None:
    """E1.31-2018 4.1 and Art-Net 4 p.60: payload of 512 slots; headers by scapy; FCS 4, preamble 8 and gap 12 (IEEE 802.3)."""
    assert LINE_BYTES[protocol] == len(Ether() / IP() / UDP() / bytes(payload)) + 4 + 8 + 12


def test_universes_that_fill_a_link() -> None:
    """Computed from the sizes above at 44 Hz (E1.11 table 6); Art-Net 4 p.8 says 40, 400, 4000 by rule of thumb."""
    assert [fitting(speed, E131, 44) for speed in (10, 100, 1000)] == [40, 403, 4035]
    assert [fitting(speed, ARTNET, 44) for speed in (10, 100, 1000)] == [47, 476, 4766]
    assert round(mbit(1, E131, 44), 4) == 0.2478


@pytest.mark.parametrize(("sends", "link", "found"), [
    ('["1-100"]', 100, {}), ('["1-300"]', 100, {"link-full": "tidy", "flood-full": "tidy"}),
    ('["1-500"]', 100, {"link-full": "soon", "flood-full": "tidy"}), ('["1-500"]', 1000, {}),
    ('["1-30"]', 10, {"link-full": "tidy", "flood-full": "tidy"}),
])
def test_links_that_get_full(sends: str, link: int, found: dict[str, str]) -> None:
    text = f'[querier]\ndevice = "10.0.0.2"\n[[device]]\nname = "desk"\naddress = "dhcp"\nsends = {sends}\nlink = {link}\n'
    told = problems(toml_file.parse(text), DEFAULTS)
    assert {each.code: each.severity for each in told if each.code.endswith("full")} == found


def test_what_is_not_understood_is_a_contradiction_too() -> None:
    plan = garden()
    broken = replace(plan, devices=(*plan.devices[:-1], replace(plan.devices[-1], unread=("IP",), address=None)))
    assert [each.code for each in problems(broken, DEFAULTS)] == ["unread", "standby"]


def test_every_code_has_its_words() -> None:
    """In short sentences, in columns of 80 cells."""
    plan = toml_file.parse(CLEAN.replace("10.0.0.21", "10.0.0.10"))
    shown = checked(plan, "rig.toml", problems(plan, DEFAULTS), DEFAULTS)
    assert "desk and node have the same address, 10.0.0.10." in shown
    assert "The plan contradicts itself in 1 point" in shown
    assert max(map(len, shown.splitlines())) <= 80
    for code in plan_checks.CHECKS:
        assert plan_checks.advice(code).endswith(".")
