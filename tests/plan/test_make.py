"""What is proposed: it moves nothing that is fixed, and contradicts nothing. Against the checks, and Python's ``ipaddress``."""

from __future__ import annotations

from dataclasses import replace
from ipaddress import IPv4Address, IPv4Network

from hypothesis import given
from hypothesis import strategies as st

from netwatch.numbers import DEFAULTS
from netwatch.plan import toml_file
from netwatch.plan.check import problems
from netwatch.plan.make import made
from netwatch.plan.rig import Device, Dhcp, Plan, Subnet
from netwatch.plan.universes import ARTNET, E131, Light, lights
from netwatch.report.plan import proposed
from tests.plan.garden import garden


def steps(plan: Plan) -> list[tuple[str, bool]]:
    return [(each.code, each.done) for each in made(plan, DEFAULTS)[1]]


def test_the_garden_lacks_nothing() -> None:
    plan = garden()
    assert made(plan, DEFAULTS) == (plan, [])
    assert "Nothing is missing." in proposed(plan, "rig.toml", [])


def test_addresses_that_were_taken_out_are_proposed_beside_those_of_the_place() -> None:
    plan = garden()
    bare = replace(plan, devices=tuple(
        replace(each, address=None) if each.name in ("lantern walk 3", "glass house 2", "pixel 3", "switch 2") else each
        for each in plan.devices
    ))  # fmt: skip
    whole, found = made(bare, DEFAULTS)
    assert [(each.code, each.facts["name"], each.facts.get("address")) for each in found] == [
        ("address", "lantern walk 3", "10.77.0.13"), ("address", "glass house 2", "10.77.0.14"),
        ("address", "pixel 3", "2.0.0.11"), ("which-subnet", "switch 2", None),
    ]  # fmt: skip
    assert [each for each in problems(whole, DEFAULTS) if each.severity == "soon"] == []
    for before, after in zip(bare.devices, whole.devices, strict=True):
        assert before.address in (None, after.address)


def test_numbers_stand_side_by_side() -> None:
    """sACN counts from 1 (E1.31-2018 9.1.1), Art-Net from 0 (Art-Net 4 p.7)."""
    plan = Plan(devices=(Device(name="a", receives=lights("1-2, 0.0.5")),), querier=IPv4Address("10.0.0.1"))
    whole, _ = made(plan, DEFAULTS)
    assert [(each.sacn, each.artnet) for each in whole.numbering] == [(1, 0), (2, 1), (6, 5)]


def test_numbers_follow_the_plans_own_way() -> None:
    own = '[[universe]]\nsacn = 1\nartnet = "0.0.1"\ndesk = "A"\n'
    plan = toml_file.parse(f'{own}[[device]]\nname = "a"\nreceives = [2, "0.0.0"]')
    whole, _ = made(plan, DEFAULTS)
    assert [(each.sacn, each.artnet, each.desk) for each in whole.numbering] == [(1, 1, "A"), (2, 2, ""), (None, 0, "")]


def test_what_can_not_be_proposed_is_told() -> None:
    one = Device(name="a", place="Orchard")
    assert steps(Plan(devices=(one,))) == [("no-subnet", False)]
    two = (Subnet(network=IPv4Network("10.0.0.0/24")), Subnet(network=IPv4Network("10.0.1.0/24")))
    assert steps(Plan(devices=(one,), subnets=two)) == [("which-subnet", False)]
    mate = Device(name="b", place="orchard", address=IPv4Address("10.0.1.9"))
    whole, _ = made(Plan(devices=(one, mate), subnets=two), DEFAULTS)
    assert str(whole.devices[0].address) == "10.0.1.10"
    assert steps(Plan(devices=(replace(one, unread=("IP",)),), subnets=two[:1])) == [("unread", False)]
    assert steps(Plan(devices=(replace(one, dhcp=True),), subnets=two)) == [("no-server", False)]
    full = tuple(Device(name=f"box {n}", address=IPv4Address(f"10.0.0.{n}")) for n in range(1, 7))
    narrow = (Subnet(network=IPv4Network("10.0.0.0/29")),)
    assert steps(Plan(devices=(*full, one), subnets=narrow)) == [("subnet-full", False)]
    outside = Dhcp(server=IPv4Address("10.9.0.1"))
    assert steps(Plan(devices=(), subnets=narrow, dhcp=outside)) == [("server-outside", False)]
    assert steps(Plan(devices=full, subnets=narrow, dhcp=Dhcp(server=IPv4Address("10.0.0.1")))) == [("no-range", False)]


def test_a_server_gets_a_range_with_room_for_strangers() -> None:
    boxes = tuple(Device(name=f"box {n}", dhcp=True) for n in range(30))
    fixed = tuple(Device(name=f"fixed {n}", address=IPv4Address(f"10.0.0.{n}")) for n in range(11, 60))
    subnets = (Subnet(network=IPv4Network("10.0.0.0/24")),)
    plan = Plan(devices=(*boxes, *fixed), subnets=subnets, dhcp=Dhcp(server=IPv4Address("10.0.0.1")))
    whole, _ = made(plan, DEFAULTS)
    assert whole.dhcp is not None
    assert int(whole.dhcp.last) - int(whole.dhcp.first) + 1 == 60  # type: ignore[arg-type]
    assert problems(whole, DEFAULTS) == []


LENGTHS = st.integers(20, 29)
KINDS, PLACES = st.sampled_from(["fixed", "dhcp", "open"]), st.sampled_from(["Orchard", "Pond", ""])
BOXES = st.lists(st.tuples(KINDS, st.integers(1, 4094), PLACES))


@given(LENGTHS, BOXES, st.booleans())
def test_laws(length: int, boxes: list[tuple[str, int, str]], with_server: bool) -> None:
    """Nothing fixed moves; what was proposed is free, usable, outside the range of DHCP, and not refused by small boxes."""
    network = IPv4Network((0x0A4D0000, length))
    used: set[int] = set()
    devices = []
    for at, (kind, value, place) in enumerate(boxes):
        address = int(network.network_address) + 1 + value % (network.num_addresses - 2)
        fixed = kind == "fixed" and address not in used
        used |= {address} if fixed else set()
        devices.append(Device(
            name=f"box {at}", place=place, address=IPv4Address(address) if fixed else None, dhcp=kind == "dhcp",
            receives=(Light(E131, at + 1), Light(ARTNET, at)) if at % 2 else (),
        ))  # fmt: skip
    server = Dhcp(server=IPv4Address(int(network.network_address) + 2)) if with_server else None
    plan = Plan(devices=tuple(devices), subnets=(Subnet(network=network),), dhcp=server)
    whole, found = made(plan, DEFAULTS)
    for before, after in zip(plan.devices, whole.devices, strict=True):
        assert replace(before, address=None) == replace(after, address=None)
        assert before.address in (None, after.address)
    fresh = [a.address for b, a in zip(plan.devices, whole.devices, strict=True) if b.address is None and a.address is not None]
    assert len(fresh) == len(set(fresh)) == sum(each.code == "address" for each in found)
    assert set(fresh) <= set(network.hosts()) - {each.address for each in plan.devices}
    assert not any(int(each) & 0xFF in (0, 255) for each in fresh)
    assert whole.dhcp is None or not any(whole.dhcp.gives(each) for each in fresh)
    assert {light for _, light in whole.lights()} <= {light for each in whole.numbering for light in each.lights}
    before_codes = {(each.code, each.facts.get("name")) for each in problems(plan, DEFAULTS)}
    new = [each for each in problems(whole, DEFAULTS) if (each.code, each.facts.get("name")) not in before_codes]
    assert not [each for each in new if each.severity == "soon"], new
    again, _ = made(whole, DEFAULTS)
    assert again == whole
    assert max(map(len, proposed(whole, "rig.toml", found).splitlines())) <= 80
