"""Reads a plan file, ``rig.toml``: strict and typed; every error names the file, the line or key, and what was meant."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial
from ipaddress import IPv4Address
from pathlib import Path
from typing import Any

from netwatch.plan import addresses, universes
from netwatch.plan.macs import mac
from netwatch.plan.rig import Device, Dhcp, Group, Numbering, Plan, PlanError, Show, Subnet
from netwatch.plan.strict import Lines, Table, said
from netwatch.plan.universes import ARTNET, E131, Light
from netwatch.words.hidden import tidy

_SPEEDS = (10, 100, 1000, 2500, 5000, 10_000)


# ---- single values ----


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"takes text; write \"{said(value)}\" in quotes")
    return tidy(value)


def _name(value: Any) -> str:
    found = _text(value)
    if not found:
        raise ValueError("is empty; give it a name that nothing else has")
    return found


def _whole(value: Any, least: int, most: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise ValueError(f"takes a whole number from {least} to {most:,}, not {said(value)}")
    return value


def _speed(value: Any) -> int:
    if isinstance(value, bool) or value not in _SPEEDS:
        raise ValueError(f"takes the link's speed in Mbit/s: {', '.join(map(str, _SPEEDS))}, not {said(value)}")
    return int(value)


def _moment(value: Any) -> datetime:
    if not isinstance(value, datetime):
        raise ValueError(f"takes a date and a time without quotes, as 2026-11-28T17:00:00, not {said(value)}")
    return value if value.tzinfo is None else value.astimezone().replace(tzinfo=None)


def _lights(value: Any, spoken: str) -> tuple[Light, ...]:
    found: dict[Light, None] = {}
    for each in value if isinstance(value, list) else [value]:
        if isinstance(each, bool) or not isinstance(each, str | int):
            raise ValueError(f"takes universes, as [\"1-8\", 12] or [\"0.1.5\"], not {said(each)}")
        found |= dict.fromkeys(universes.lights(each, spoken))
    return tuple(found)


def _one_light(value: Any, spoken: str) -> int:
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise ValueError(f"takes one universe, not {said(value)}")
    return universes.one(value, spoken).number


# ---- the tables ----


def read(path: Path, devices: Callable[[Path], Plan] | None = None) -> Plan:
    """The plan in a file; ``devices`` reads the spreadsheet that it may name. Raises ``PlanError``."""
    try:
        # utf-8-sig: Windows editors put a byte order mark in front, which is no TOML.
        return parse(path.read_text(encoding="utf-8-sig"), str(path), devices)
    except UnicodeDecodeError:
        raise PlanError(f"{path}: this is not text in UTF-8; save it as UTF-8.") from None
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise PlanError(f"{path}: this plan can't be read ({reason}); check the name.") from None


def parse(text: str, path: str = "rig.toml", devices: Callable[[Path], Plan] | None = None) -> Plan:
    """The plan in a text. Raises ``PlanError``."""
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise PlanError(_not_toml(path, str(error))) from None
    whole = Table(values, path, Lines(text))
    name = whole.take("name", _text, "")
    sheet = whole.take("sheet", _name, "")
    subnets = tuple(_subnet(each) for each in whole.tables("subnet"))
    found = tuple(_device(each) for each in whole.tables("device"))
    dhcp, querier = whole.table("dhcp"), whole.table("querier")
    numbering = tuple(_numbering(each) for each in whole.tables("universe"))
    groups = tuple(_group(each) for each in whole.tables("group"))
    shows = tuple(_show(each) for each in whole.tables("show"))
    whole.end()
    remarks: tuple[str, ...] = ()
    if sheet and devices is not None:
        more = devices(Path(path).parent / sheet)
        found, remarks = (*found, *more.devices), more.remarks
        subnets, numbering = subnets or more.subnets, (*numbering, *more.numbering)
    plan = Plan(
        name=name, devices=found, subnets=subnets, numbering=numbering, groups=groups, shows=shows, remarks=remarks
    )
    return replace(
        plan, dhcp=None if dhcp is None else _dhcp(dhcp, plan), querier=None if querier is None else _querier(querier, plan)
    )


def _not_toml(path: str, error: str) -> str:
    """The parser's complaint as one sentence, with its line in front."""
    place = re.search(r" ?\(at (?:line (\d+), column \d+|end of document)\)", error)
    line = f", line {place[1]}" if place and place[1] else ""
    reason = error[: place.start()] if place else error
    return f"{path}{line}: this is not TOML ({reason[:1].lower()}{reason[1:]}); write each line as KEY = VALUE, text in quotes."


def _subnet(table: Table) -> Subnet:
    network = table.needed("network", lambda value: addresses.network(_text(value)))
    gateway = table.take("gateway", lambda value: addresses.host(_text(value)), None)
    if gateway is not None and gateway not in network:
        raise table.error("gateway", f"{gateway} lies outside {network}; boxes there could not reach it")
    found = Subnet(
        network=network, name=table.take("name", _text, ""), vlan=table.take("vlan", partial(_whole, least=1, most=4094), None),
        gateway=gateway,
    )
    table.end()
    return found


def _device(table: Table) -> Device:
    name = table.needed("name", _name)
    spoken = table.take("protocol", lambda value: universes.protocol(_text(value)), "")
    fixed, dhcp = table.take("address", _address, (None, False))
    found = Device(
        name=name, place=table.take("place", _text, ""), asset=table.take("asset", _text, ""),
        mac=table.take("mac", lambda value: mac(_text(value)), ""), address=fixed, dhcp=dhcp,
        prefix=table.take("mask", lambda value: addresses.prefix(_text(value)), None),
        sends=table.take("sends", partial(_lights, spoken=spoken), ()),
        receives=table.take("receives", partial(_lights, spoken=spoken), ()),
        priority=table.take("priority", partial(_whole, least=0, most=200), None), link=table.take("link", _speed, None),
        origin=table.where(),
    )
    table.end()
    return found


def _address(value: Any) -> tuple[IPv4Address | None, bool]:
    """(fixed address, by DHCP)."""
    text = _text(value)
    return (None, True) if text.lower() == "dhcp" else (addresses.host(text), False)


def _numbering(table: Table) -> Numbering:
    found = Numbering(
        sacn=table.take("sacn", partial(_one_light, spoken=E131), None),
        artnet=table.take("artnet", partial(_one_light, spoken=ARTNET), None), desk=table.take("desk", _text, ""),
    )
    table.end()
    if not found.lights:
        raise PlanError(f"{table.where()}: this universe has no number; add sacn = 1 or artnet = \"0.0.0\".")
    return found


def _group(table: Table) -> Group:
    address = table.needed("address", lambda value: addresses.address(_text(value)))
    found = Group(address=address, name=table.take("name", _text, ""))
    table.end()
    if not found.address.is_multicast:
        raise table.error("address", f"({found.address}) is no multicast group; they are 224.0.0.0 to 239.255.255.255")
    return found


def _show(table: Table) -> Show:
    found = Show(begin=table.needed("begin", _moment), end=table.needed("end", _moment))
    table.end()
    if found.end <= found.begin:
        raise table.error("end", f"({found.end}) is not after begin ({found.begin})")
    return found


def _dhcp(table: Table, plan: Plan) -> Dhcp:
    server = table.needed("server", lambda value: _box(value, plan.devices))
    first, last = (table.take(key, lambda value: addresses.host(_text(value)), None) for key in ("first", "last"))
    table.end()
    if (first is None) != (last is None):
        given, lacking = ("first", "last") if last is None else ("last", "first")
        raise table.error(given, f"stands alone; add {lacking} = ..., the other end of the range that is given out")
    if first is not None and last is not None and last < first:
        raise table.error("last", f"({last}) comes before first ({first})")
    return Dhcp(server=server, first=first, last=last)


def _querier(table: Table, plan: Plan) -> IPv4Address:
    found = table.needed("device", lambda value: _box(value, plan.devices))
    table.end()
    return found


def _box(value: Any, devices: Sequence[Device]) -> IPv4Address:
    """A device's name, or an address."""
    text = _name(value)
    named = next((each for each in devices if each.name == text), None)
    if named is not None:
        if named.address is None:
            raise ValueError(f"{text!r} has no fixed address in the plan; give it one, or write the address here")
        return named.address
    if text[0].isdigit() and "." in text:
        return addresses.host(text)
    near = difflib.get_close_matches(text, [each.name for each in devices], n=1)
    advice = f"did you mean {near[0]!r}?" if near else "write its address"
    raise ValueError(f"there is no device {text!r} in the plan; {advice}")
