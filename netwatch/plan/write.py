"""Writes a plan as ``rig.toml``, which ``toml_file`` reads back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from netwatch.plan.rig import Device, Numbering, Plan
from netwatch.plan.universes import ARTNET, Light, three, written

HEAD = (
    "# A plan of a rig for netwatch. Delete what is not known, add what is.",
    "# Universes: \"1-8\" is sACN; \"0.0.0-0.0.7\" is Art-Net (net, sub-net, universe); \"a21\" is Art-Net by its flat number.",
    "# address = \"dhcp\" is a box that gets its address from the server.",
)


def text(plan: Plan, notes: Sequence[str] = ()) -> str:
    """The file; ``notes`` become comments at its head."""
    parts = ["\n".join((*HEAD, *(f"# {note}" for note in notes)))]
    parts.append(_lines(("name", plan.name or None)))
    parts += [
        _section("[[subnet]]", ("name", each.name or None), ("network", str(each.network)), ("vlan", each.vlan),
                 ("gateway", None if each.gateway is None else str(each.gateway)))
        for each in plan.subnets
    ]  # fmt: skip
    if plan.dhcp is not None:
        ends = [(key, None if end is None else str(end)) for key, end in (("first", plan.dhcp.first), ("last", plan.dhcp.last))]
        parts.append(_section("[dhcp]", ("server", str(plan.dhcp.server)), *ends))
    if plan.querier is not None:
        parts.append(_section("[querier]", ("device", str(plan.querier))))
    parts += [f"[[show]]\nbegin = {each.begin.isoformat()}\nend = {each.end.isoformat()}" for each in plan.shows]
    parts += [_section("[[group]]", ("name", each.name or None), ("address", str(each.address))) for each in plan.groups]
    parts += [_numbering(each) for each in plan.numbering]
    parts += [_device(each, plan) for each in plan.devices]
    return "\n\n".join(part for part in parts if part) + "\n"


def _device(device: Device, plan: Plan) -> str:
    subnet = None if device.address is None else plan.subnet(device.address)
    mask = None if device.prefix is None or (subnet and subnet.network.prefixlen == device.prefix) else str(device.prefix)
    address = str(device.address) if device.address is not None else "dhcp" if device.dhcp else None
    return _section(
        "[[device]]", ("name", device.name), ("place", device.place or None), ("asset", device.asset or None),
        ("mac", device.mac or None), ("address", address), ("mask", mask), ("sends", _universes(device.sends)),
        ("receives", _universes(device.receives)), ("priority", device.priority), ("link", device.link),
    )  # fmt: skip


def _numbering(each: Numbering) -> str:
    artnet = None if each.artnet is None else three(Light(ARTNET, each.artnet))
    return _section("[[universe]]", ("sacn", each.sacn), ("artnet", artnet), ("desk", each.desk or None))


def _universes(lights: Iterable[Light]) -> list[str] | None:
    return written(lights) or None


def _section(head: str, *keys: tuple[str, str | int | list[str] | None]) -> str:
    return f"{head}\n{_lines(*keys)}"


def _lines(*keys: tuple[str, str | int | list[str] | None]) -> str:
    return "\n".join(f"{key} = {_value(value)}" for key, value in keys if value is not None)


def _value(value: str | int | list[str]) -> str:
    if isinstance(value, list):
        return f"[{', '.join(_value(each) for each in value)}]"
    return str(value) if isinstance(value, int) else quoted(value)


def quoted(value: str) -> str:
    """A TOML basic string: quotation mark, backslash and control characters escaped (TOML 1.0 'String')."""
    named = {'"': '\\"', "\\": "\\\\"}
    return '"' + "".join(named.get(c) or (c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}") for c in value) + '"'
