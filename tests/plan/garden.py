"""The plan of Hollowbrook Garden, an invented winter light trail: 40 boxes, 24 universes, three subnets."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from netwatch.plan import toml_file
from netwatch.plan.rig import Device, Plan
from netwatch.plan.universes import written

FILE = Path(__file__).parents[2] / "captures" / "garden.toml"
HEADINGS = ["Device", "Location", "Asset no.", "MAC address", "IP address", "Sends", "Receives", "Priority", "Link speed"]


def garden() -> Plan:
    return toml_file.read(FILE)


def bare(devices: tuple[Device, ...]) -> list[Device]:
    """Without where they stand."""
    return [replace(each, origin="") for each in devices]


def rows() -> list[list[str]]:
    """The devices as a spreadsheet would have them."""
    return [HEADINGS, *(_row(each) for each in garden().devices)]


def _row(each: Device) -> list[str]:
    light = [", ".join(written(found)) for found in (each.sends, each.receives)]
    numbers = ["" if number is None else str(number) for number in (each.priority, each.link)]
    return [each.name, each.place, each.asset, each.mac, "DHCP" if each.dhcp else str(each.address or ""), *light, *numbers]
