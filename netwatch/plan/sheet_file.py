"""Devices from the spreadsheet that people have, as it is: columns by their headings; what was not understood is listed."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from ipaddress import IPv4Interface, IPv4Network
from pathlib import Path
from typing import TypeVar

from netwatch.plan import addresses, universes
from netwatch.plan.addresses import shown
from netwatch.plan.cells import DATED, Page, Row, pages
from netwatch.plan.headings import HEADINGS, SEVERAL, fits, headings, only_dmx
from netwatch.plan.macs import mac
from netwatch.plan.rig import Device, Numbering, Plan, PlanError, Subnet
from netwatch.plan.universes import Light

T = TypeVar("T")
_SENDERS = re.compile(r"desk|console|controller|media|server|sender|source|lighting computer", re.IGNORECASE)
"""Roles whose universes are sent rather than received (common practice, no source)."""
_EMPTY = frozenset({"", "-", "--", "n/a", "na", "none", "tbd", "tbc", "?", "x"})
_AUTOMATIC = frozenset({"dhcp", "auto", "automatic", "by dhcp", "dynamic"})
_MONTHS = "(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
_DATE = re.compile(rf"[0-9]{{1,2}}[-. ]*{_MONTHS}|{_MONTHS}[-. ]*[0-9]{{1,4}}", re.IGNORECASE)
_MOST_REMARKS = 60


@dataclass
class _Table:
    """One table while it is read."""

    path: str
    fields: list[str]
    heads: list[str]
    remarks: list[str] = field(default_factory=list)
    numbering: dict[Light, Numbering] = field(default_factory=dict)
    unread: list[str] = field(default_factory=list)
    """Headings of the cells of this row that were not understood."""

    def cells(self, row: list[str], name: str) -> list[tuple[int, str]]:
        """(column, value) of the filled cells of a field."""
        found = [(at, row[at]) for at, each in enumerate(self.fields) if each == name and at < len(row)]
        return [(at, value) for at, value in found if value.lower() not in _EMPTY]

    def text(self, row: list[str], name: str) -> str:
        found = self.cells(row, name)
        return found[0][1].removeprefix(DATED) if found else ""

    def where(self, number: int, at: int | None = None) -> str:
        """'sheet.csv, row 7, column C (IP)'."""
        return f"{self.path}, row {number}" + ("" if at is None else f", column {letter(at)} ({self.heads[at]})")

    def read(self, number: int, row: list[str], name: str, how: Callable[[str], T]) -> list[T]:
        """What ``how`` makes of the field's cells; a slip is a remark and leaves the cell out."""
        out = []
        for at, value in self.cells(row, name):
            try:
                if value.startswith(DATED) or (name in SEVERAL and _DATE.fullmatch(value)):
                    raise ValueError(
                        f"{shown(value.removeprefix(DATED))} is a date, which the spreadsheet made of something like 1-8; "
                        "format the column as text and type it again"
                    )
                out.append(how(value))
            except ValueError as error:
                self.remarks.append(f"{self.where(number, at)}: {error}.")
                self.unread.append(self.heads[at])
        return out


def letter(column: int) -> str:
    """0 is 'A', 26 'AA'."""
    return (letter(column // 26 - 1) if column >= 26 else "") + chr(65 + column % 26)


def read(path: Path) -> Plan:
    """Devices of the table that looks most like a plan; ``remarks`` tell what was not understood. Raises ``PlanError``."""
    found = pages(path, fits)
    page = max(found, key=lambda each: fits(each.rows), default=Page("", []))
    place = headings(page.rows)
    if place is None:
        wanted = ", ".join(HEADINGS[each].split(",")[0] for each in ("name", "place", "mac", "address", "universe"))
        raise PlanError(f"{path}: no row of headings was found; head the columns with words as {wanted}.")
    at, fields = place
    name = f"{path} ({page.name})" if len(found) > 1 else str(path)
    table = _Table(name, fields, page.rows[at][1])
    others = [each.name for each in found if each is not page and each.rows]
    if others:
        table.remarks.append(f"{path}: the sheet {page.name!r} was read; left out: {', '.join(map(repr, others))}.")
    body = [(number, row) for number, row in page.rows[at + 1 :] if any(cell.lower() not in _EMPTY for cell in row)]
    _look_at_columns(table, page.rows[at][0], body)
    devices = _devices(table, body)
    if not devices:
        raise PlanError(f"{name}: no device stands below the headings in row {page.rows[at][0]}; fill in names or addresses.")
    return Plan(devices=devices, subnets=_subnets(devices), numbering=tuple(table.numbering.values()), remarks=_short(table))


def _short(table: _Table) -> tuple[str, ...]:
    more = len(table.remarks) - _MOST_REMARKS
    return (*table.remarks[:_MOST_REMARKS], *([f"{table.path}: and {more} more of such."] if more > 0 else []))


def _look_at_columns(table: _Table, number: int, body: Sequence[Row]) -> None:
    """Columns that are not understood, or stand twice, are told and left out."""
    width = max([len(row) for _, row in body], default=0)
    table.fields += [""] * (width - len(table.fields))
    table.heads += [""] * (width - len(table.heads))
    seen: set[str] = set()
    for at, name in enumerate(table.fields):
        filled = [row[at] for _, row in body if at < len(row) and row[at]]
        head = table.heads[at]
        if name == "address" and only_dmx(filled):
            table.fields[at] = ""
            table.remarks.append(f"{table.where(number, at)}: numbers from 1 to 512 are taken for DMX addresses and left out.")
        elif not name and filled and head:
            table.remarks.append(f"{table.where(number, at)}: this heading is not known; the column is left out.")
        elif not name and filled:
            table.remarks.append(
                f"{table.path}, row {number}, column {letter(at)}: a column without a heading (a merged one?); it is left out."
            )
        elif name in seen and name not in SEVERAL:
            first = letter(table.fields.index(name))
            table.fields[at] = ""
            table.remarks.append(f"{table.where(number, at)}: means the same as column {first}; this one is left out.")
        seen.add(name)
    if "universe" in table.fields and "role" not in table.fields:
        at = table.fields.index("universe")
        taken = "taken for what each box receives; head a column 'Sends' for what it sends"
        table.remarks.append(f"{table.where(number, at)}: {taken}.")


def _devices(table: _Table, body: Sequence[Row]) -> tuple[Device, ...]:
    out: dict[Device, int] = {}
    for number, row in body:
        found = _device(table, number, row)
        if found is None:
            continue
        key = replace(found, origin="")
        if key in out:
            table.remarks.append(f"{table.where(number)}: the same as row {out[key]}; it is left out.")
            continue
        out[key] = number
    return tuple(replace(each, origin=table.where(number)) for each, number in out.items())


def _device(table: _Table, number: int, row: list[str]) -> Device | None:
    """One row's device; None where it is none, which is told."""
    table.unread = []
    name, (address, dhcp, prefix) = table.text(row, "name"), _addressed(table, number, row)
    macs = table.read(number, row, "mac", mac)
    spoken = next(iter(table.read(number, row, "protocol", universes.protocol)), "")
    sends, receives = _lights(table, number, row, spoken)
    priority = table.read(number, row, "priority", lambda value: _whole(value, 0, 200))
    link = table.read(number, row, "link", lambda value: _whole(re.sub(r"\s*m?bit(/s)?$|\s*m$", "", value.lower()), 10, 100_000))
    told = bool(address or dhcp or macs or sends or receives) or bool(table.unread)
    if not told and (not name or not any(table.cells(row, each) for each in ("place", "asset"))):
        text = next(cell for cell in row if cell.lower() not in _EMPTY)
        table.remarks.append(f"{table.where(number)}: {shown(text)} is taken for a title or a remark and left out.")
        return None
    found = Device(
        name=name or (str(address) if address else macs[0] if macs else f"row {number}"), place=table.text(row, "place"),
        asset=table.text(row, "asset"), mac=macs[0] if macs else "", address=address.ip if address else None,
        dhcp=dhcp, prefix=prefix, sends=sends, receives=receives, priority=priority[0] if priority else None,
        link=link[0] if link else None, unread=tuple(dict.fromkeys(table.unread)),
    )
    _number(table, row, found)
    return found


def _addressed(table: _Table, number: int, row: list[str]) -> tuple[IPv4Interface | None, bool, int | None]:
    """(fixed address, by DHCP, its mask)."""
    found = table.read(number, row, "address", _address)
    masks = table.read(number, row, "mask", addresses.prefix)
    fixed = next((each for each, _ in found if each is not None), None)
    inside = next((length for _, length in found if length is not None), None)
    mode = table.text(row, "mode").lower()
    dhcp = any(each is None for each, _ in found) or mode in _AUTOMATIC or mode in ("yes", "y", "true", "1")
    if fixed is not None and dhcp and any(each is None for each, _ in found):
        dhcp = False
    return fixed, dhcp and fixed is None, masks[0] if masks else inside


def _address(value: str) -> tuple[IPv4Interface | None, int | None]:
    """'10.0.0.5', '10.0.0.5/16' or 'DHCP'."""
    if value.lower() in _AUTOMATIC:
        return None, None
    if "/" in value:
        found = addresses.interface(value)
        return IPv4Interface(found.ip), found.network.prefixlen
    return IPv4Interface(addresses.host(value)), None


def _lights(table: _Table, number: int, row: list[str], spoken: str) -> tuple[tuple[Light, ...], tuple[Light, ...]]:
    """(sent, received)."""
    sends = table.read(number, row, "sends", lambda value: universes.lights(value, spoken))
    receives = table.read(number, row, "receives", lambda value: universes.lights(value, spoken))
    either = table.read(number, row, "sacn", lambda value: universes.lights(value, universes.E131))
    either += table.read(number, row, "artnet", lambda value: universes.lights(value, universes.ARTNET))
    three = [table.text(row, each) for each in ("net", "sub")]
    if all(each.isascii() and each.isdigit() for each in three) and table.cells(row, "universe"):
        either += table.read(
            number, row, "universe", lambda value: (universes.from_three(int(three[0]), int(three[1]), _whole(value, 0, 15)),)
        )
    else:
        either += table.read(number, row, "universe", lambda value: universes.lights(value, spoken))
    (sends if _SENDERS.search(table.text(row, "role")) else receives).extend(either)
    return _once(sends), _once(receives)


def _once(found: Sequence[Sequence[Light]]) -> tuple[Light, ...]:
    return tuple(dict.fromkeys(light for each in found for light in each))


def _whole(value: str, least: int, most: int) -> int:
    if not (value.isascii() and value.isdigit()) or not least <= int(value[:9]) <= most:
        raise ValueError(f"{shown(value)} is no whole number from {least} to {most:,}")
    return int(value)


def _number(table: _Table, row: list[str], device: Device) -> None:
    """As many universes of both protocols in one row belong together; of a single one the desk's name is told, too."""
    sacn, artnet = ([light for light in device.lights if light.protocol == each] for each in (universes.E131, universes.ARTNET))
    desk = table.text(row, "desk") if max(len(sacn), len(artnet)) == 1 else ""
    if len(sacn) == len(artnet):
        pairs: list[tuple[Light | None, Light | None]] = [*zip(sacn, artnet, strict=True)]
    else:
        pairs = [(sacn[0] if sacn else None, artnet[0] if artnet else None)] if desk else []
    for one, other in pairs:
        numbers = Numbering(sacn=one.number if one else None, artnet=other.number if other else None, desk=desk)
        table.numbering.setdefault(numbers.lights[0], numbers)


def _subnets(devices: tuple[Device, ...]) -> tuple[Subnet, ...]:
    """A spreadsheet says its subnets by the masks of its devices."""
    found: dict[IPv4Network, None] = {}
    for each in devices:
        if each.address is not None and each.prefix is not None:
            found[IPv4Network((each.address, each.prefix), strict=False)] = None
    return tuple(Subnet(network=each) for each in sorted(found))
