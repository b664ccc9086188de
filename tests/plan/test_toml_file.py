"""The plan file. Its keys are the project's own; no outside source."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from ipaddress import IPv4Address, IPv4Network
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netwatch.plan import toml_file
from netwatch.plan.read import read
from netwatch.plan.rig import Device, Dhcp, Group, Numbering, Plan, PlanError, Show, Subnet
from netwatch.plan.universes import ARTNET, E131, Light, lights
from netwatch.plan.write import text
from netwatch.words.hidden import tidy
from tests.plan.garden import bare, garden

GOOD = """
name = "Mill pond"

[[subnet]]
network = "10.77.0.0/255.255.0.0"
gateway = "10.77.0.1"
vlan = 10

[dhcp]
server = "rack"
first = "10.77.100.1"
last = "10.77.100.200"

[querier]
device = "10.77.0.1"

[[universe]]
sacn = 1
artnet = "0.0.0"
desk = "A1"

[[group]]
name = "talkback"
address = "239.69.0.1"

[[show]]
begin = 2026-11-28T17:00:00
end = 2026-11-28T22:00:00

[[device]]
name = "rack"
address = "10.77.0.2"

[[device]]
name = "jetty"
place = "Mill pond"
asset = "HG-9"
mac = "02-48-47-00-00-09"
address = "dhcp"
protocol = "Art-Net"
sends = [0, "0.0.2"]
receives = "3-4"
priority = 90
link = 100
mask = "255.255.0.0"
"""


def test_every_key() -> None:
    plan = toml_file.parse(GOOD)
    net = IPv4Network("10.77.0.0/16")
    assert plan.subnets == (Subnet(network=net, vlan=10, gateway=IPv4Address("10.77.0.1")),)
    assert plan.dhcp == Dhcp(server=IPv4Address("10.77.0.2"), first=IPv4Address("10.77.100.1"), last=IPv4Address("10.77.100.200"))
    assert (plan.name, plan.querier) == ("Mill pond", IPv4Address("10.77.0.1"))
    assert plan.numbering == (Numbering(sacn=1, artnet=0, desk="A1"),)
    assert plan.groups == (Group(address=IPv4Address("239.69.0.1"), name="talkback"),)
    assert plan.shows == (Show(begin=datetime(2026, 11, 28, 17), end=datetime(2026, 11, 28, 22)),)
    assert plan.devices[1] == Device(
        name="jetty", place="Mill pond", asset="HG-9", mac="02:48:47:00:00:09", dhcp=True, prefix=16,
        sends=(Light(ARTNET, 0), Light(ARTNET, 2)), receives=(Light(ARTNET, 3), Light(ARTNET, 4)), priority=90, link=100,
        origin="rig.toml, line 34",
    )  # fmt: skip
    assert plan.called(Light(E131, 1)) == plan.called(Light(ARTNET, 0)) == "A1"


@pytest.mark.parametrize(("old", "new", "said"), [
    ("receives =", "recieves =", "rig.toml, line 42: there is no key 'recieves' in [[device]] 2; did you mean 'receives'?"),
    ("[dhcp]", "[dhpc]", "rig.toml, line 9: there is no key 'dhpc'; did you mean 'dhcp'?"),
    ("vlan = 10", "colour = 10", "there is no key 'colour' in [[subnet]] 1; there are network, gateway, name, vlan."),
    ("vlan = 10", "vlan = 4095", "vlan: takes a whole number from 1 to 4,094, not 4095."),
    ("vlan = 10", 'vlan = "ten"', "vlan: takes a whole number from 1 to 4,094, not 'ten'."),
    ('"10.77.0.2"', '"010.077.000.002"', "rig.toml, line 32, address: '010.077.000.002' has zeros in front"),
    ('"10.77.0.2"', '"2.0.0.5/8"', "write 2.0.0.5 alone here."),
    ('"10.77.0.2"', '"10.77.0.300"', "300 is above 255."),
    ("10.77.0.0/255.255.0.0", "10.77.0.5/16", "line 5, network: 10.77.0.5/16 is one address in a subnet; the subnet is "),
    ('gateway = "10.77.0.1"', 'gateway = "10.78.0.1"', "gateway 10.78.0.1 lies outside 10.77.0.0/16"),
    ("sacn = 1", 'sacn = "0"', "line 18, sacn: there is no sACN universe 0"),
    ('artnet = "0.0.0"', 'artnet = "1.0"', "line 19, artnet: '1.0' names no universe; write 1 for sACN"),
    ('artnet = "0.0.0"', 'artnet = "0:1:3"', "write 0.1.3 for Art-Net."),
    ("sacn = 1", 'sacn = "U12"', "write 12."),
    ("sacn = 1\nartnet = \"0.0.0\"", "", "this universe has no number"),
    ("sends = [0, \"0.0.2\"]", "sends = [true]", "sends: takes universes"),
    ("sends = [0, \"0.0.2\"]", "sends = 1.5", "sends: takes universes"),
    ('protocol = "Art-Net"', 'protocol = "MIDI"', "write sACN or Art-Net."),
    ('mac = "02-48', 'mac = "01-48', "is the MAC address of a group"),
    ('mac = "02-48-47', 'mac = "02-48', "is no MAC address; write six pairs"),
    ('place = "Mill pond"', "place = 7", 'place: takes text; write "7" in quotes.'),
    ("priority = 90", "priority = 201", "priority: takes a whole number from 0 to 200, not 201."),
    ("priority = 90", "priority = true", "not true."),
    ("link = 100", "link = 99", "link: takes the link's speed in Mbit/s"),
    ('name = "jetty"', "", "line 34: [[device]] 2 lacks its name"),
    ('name = "jetty"', 'name = " "', "line 35, name: is empty"),
    ('server = "rack"', 'server = "rak"', "line 10, server: there is no device 'rak' in the plan; did you mean 'rack'?"),
    ('server = "rack"', 'server = "jetty"', "'jetty' has no fixed address in the plan"),
    ('server = "rack"', "", "[dhcp] lacks its server"),
    ('last = "10.77.100.200"', "", "first stands alone; add last"),
    ('last = "10.77.100.200"', 'last = "10.77.99.200"', "last (10.77.99.200) comes before first (10.77.100.1)."),
    ("[dhcp]", "[[dhcp]]", "dhcp: takes one table"),
    ("[[subnet]]", "[subnet]", "subnet: takes tables"),
    ("239.69.0.1", "10.69.0.1", "is no multicast group"),
    ("begin = 2026-11-28T17:00:00", 'begin = "today"', "takes a date and a time without quotes"),
    ("begin = 2026-11-28T17:00:00", "begin = 2026-11-29T17:00:00", "is not after begin"),
    ('server = "rack"', "server = rack", "rig.toml, line 10: this is not TOML (invalid value)"),
    ('name = "Mill pond"', 'name = "Mill pond', "this is not TOML"),
])
def test_a_slip_names_its_place_and_what_was_meant(old: str, new: str, said: str) -> None:
    assert GOOD.count(old) >= 1
    with pytest.raises(PlanError) as caught:
        toml_file.parse(GOOD.replace(old, new, 1))
    assert said in str(caught.value)
    assert str(caught.value).startswith("rig.toml")
    assert str(caught.value).endswith((".", "?"))
    assert "\n" not in str(caught.value)


def test_files_that_can_not_be_read(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"none\.toml: this plan can't be read \(no such file or directory\)"):
        read(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes('name = "Bl\u00fcte"'.encode("cp1252"))
    with pytest.raises(PlanError, match=r"latin\.toml: this is not text in UTF-8"):
        read(tmp_path / "latin.toml")
    (tmp_path / "marked.toml").write_bytes(b"\xef\xbb\xbfname = \"garden\"")
    assert read(tmp_path / "marked.toml").name == "garden"


def test_devices_may_stand_in_a_spreadsheet(tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text('sheet = "boxes.csv"\n[dhcp]\nserver = "rack"\n', encoding="utf-8")
    with pytest.raises(PlanError, match=r"boxes\.csv: this spreadsheet can't be read"):
        read(tmp_path / "rig.toml")
    (tmp_path / "boxes.csv").write_text("Name;IP;Mask\nrack;10.0.0.2;255.255.255.0\n", encoding="utf-8")
    plan = read(tmp_path / "rig.toml")
    assert plan.dhcp is not None
    assert str(plan.dhcp.server) == "10.0.0.2"
    assert [str(each.network) for each in plan.subnets] == ["10.0.0.0/24"]
    assert plan.devices[0].origin.endswith("boxes.csv, row 2")


def test_the_garden_is_whole() -> None:
    plan = garden()
    assert (len(plan.devices), len(plan.numbering), len(plan.subnets)) == (40, 24, 3)


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=12).map(tidy)
ADDRESSES = st.integers(0x0A000001, 0x0AFFFFFE).map(IPv4Address)
DEVICES = st.builds(
    Device, name=WORDS.filter(bool), place=WORDS, asset=WORDS, mac=st.just("") | st.just("02:00:00:00:00:0a"),
    address=st.none() | ADDRESSES, sends=st.sampled_from([(), lights("1-8, 0.1.0")]), receives=st.sampled_from([(), lights(9)]),
    priority=st.none() | st.integers(0, 200), link=st.none() | st.just(100),
)  # fmt: skip


@given(st.builds(
    Plan, name=WORDS, devices=st.lists(DEVICES, max_size=4).map(tuple), querier=st.none() | ADDRESSES,
    dhcp=st.none() | st.builds(Dhcp, server=ADDRESSES),
    subnets=st.sampled_from([(), (Subnet(network=IPv4Network("10.0.0.0/9")),)]),
    groups=st.just(()) | st.just((Group(address=IPv4Address("239.69.0.1")),)),
    numbering=st.just(()) | st.just((Numbering(sacn=7, artnet=6, desk="B"), Numbering(artnet=9))),
))  # fmt: skip
def test_what_is_written_is_read_back(plan: Plan) -> None:
    """Whatever signs the names hold (TOML 1.0, basic strings)."""
    back = toml_file.parse(text(plan, ["a note"]))
    assert replace(back, devices=tuple(bare(back.devices))) == plan
