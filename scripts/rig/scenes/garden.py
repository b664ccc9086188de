"""The whole of Hollowbrook Garden: the 40 boxes of captures/garden.toml, put up with ten differences from the plan."""

from __future__ import annotations

import tomllib
from ipaddress import IPv4Address, IPv4Network
from pathlib import Path
from typing import Any

from rig import dhcp
from rig.lan import Host
from rig.scenario import Stage, scenario

PLAN = Path(__file__).resolve().parents[3] / "captures" / "garden.toml"
TO_PIXELS = "2.255.255.255"

PLANTED = {
    "lantern walk 2": ("address", "10.77.0.55"),
    "gatehouse desk": ("priority", 110),
    "gatehouse backup": ("sends", range(2, 18)),
    "glass house 1": ("receives", [11]),
    "mill pond 2": ("mac", "02:48:47:00:01:0a"),
    "tea lawn": ("address", "10.77.0.77"),
    "pixel 3": ("calls itself", "frost 3"),
    "pixel 7": ("outputs", [6]),
    "fern tunnel 2": ("not there", None),
    "snow machine": ("extra", "10.77.0.90"),
}
"""Box: what is different, and how."""


@scenario("Hollowbrook Garden, the 40 boxes of its plan, from which they differ in ten ways", slow=True,
          needs=("dnsmasq", "udhcpc"))
def garden(stage: Stage) -> None:
    plan = tomllib.loads(PLAN.read_text(encoding="utf-8"))
    networks = [IPv4Network(each["network"]) for each in plan["subnet"]]
    boxes = {each["name"]: each for each in plan["device"] if PLANTED.get(each["name"], ("",))[0] != "not there"}
    hosts = {name: _host(stage, at, each, networks) for at, (name, each) in enumerate(boxes.items(), 1)}
    hosts["snow machine"] = stage.host("snow-machine", f"{PLANTED['snow machine'][1]}/16")
    stage.begin()
    rack = plan["dhcp"]
    dhcp.serve(hosts[rack["server"]], rack["first"], rack["last"], lease="12h")
    stage.querier(hosts[plan["querier"]["device"]], every=10, version=3)
    for host in hosts.values():
        host.announce()
    stage.at(3)
    for name, each in boxes.items():
        _comes_alive(stage, hosts[name], each)
    for name, (what, how) in PLANTED.items():
        stage.say(name, f"differs: {what} {how or ''}".strip())
    stage.at(50)


def _host(stage: Stage, at: int, box: dict[str, Any], networks: list[IPv4Network]) -> Host:
    """Plugged in; what asks for an address by DHCP bears its own name, the visitor desk is the laptop that listens."""
    address = _planted(box["name"], "address", box["address"])
    prefix = next((each.prefixlen for each in networks if address != "dhcp" and IPv4Address(address) in each), 0)
    name = "lap" if box["name"] == "visitor desk" else box["name"].replace(" ", "-") if address == "dhcp" else f"box-{at:02}"
    return stage.host(name, f"{address}/{prefix}" if prefix else None, _planted(box["name"], "mac", box.get("mac")))


def _comes_alive(stage: Stage, host: Host, box: dict[str, Any]) -> None:
    name = box["name"]
    sends, receives = (_numbers(box.get(key, ())) for key in ("sends", "receives"))
    if _planted(name, "address", box["address"]) == "dhcp":
        dhcp.udhcpc(host)
    if sends and sends[0][0] == "artnet":
        stage.poller(host, to=TO_PIXELS, every=5)
        stage.artnet(host, [number for _, number in sends], to=TO_PIXELS, hz=2)
    elif sends:
        universes = list(_planted(name, "sends", [number for _, number in sends]))
        priority = _planted(name, "priority", box["priority"])
        stage.desk(host, universes, name, priority=priority, resting=universes)
    if receives and receives[0][0] == "artnet":
        outputs = _planted(name, "outputs", [number for _, number in receives])
        stage.node(host, outputs, name=_planted(name, "calls itself", name))
    elif receives:
        stage.join(host, *_planted(name, "receives", [number for _, number in receives]))


def _planted(name: str, what: str, otherwise: Any) -> Any:
    planted, how = PLANTED.get(name, ("", None))
    return how if planted == what else otherwise


def _numbers(words: list[str]) -> list[tuple[str, int]]:
    """'1-16' and '0.1.0-0.1.7' as (protocol, number); a Port-Address is net, sub-net and universe (Art-Net 4 p.7)."""
    out = []
    for word in words:
        protocol, number = ("artnet", _flat) if "." in word else ("sacn", int)
        first, _, last = word.partition("-")
        out += [(protocol, each) for each in range(number(first), number(last or first) + 1)]
    return out


def _flat(text: str) -> int:
    net, sub, universe = (int(part) for part in text.split("."))
    return net << 8 | sub << 4 | universe


