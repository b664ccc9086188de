"""The plan against the rig: which boxes are here, which were not heard, which are extra, what differs.

Boxes are matched by MAC, then by name, then by address. Silence proves little: what a box does not send or ask for is told
only where it would be heard, or where the box says itself what it does.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from ipaddress import IPv4Address

from netwatch.network.network import Network
from netwatch.numbers import Numbers
from netwatch.plan.heard import Heard, boxes
from netwatch.plan.rig import Device, Plan
from netwatch.plan.standing import DIFFERS, EXTRA, HERE, MISSING, Difference, Standing
from netwatch.plan.universes import ARTNET, E131, Light

NS = 1_000_000_000
_SHORT_NAME = 17
"""Characters of an Art-Net short name (Art-Net 4 p.24): a longer one is cut there."""
_STEPS = (1, -1, 16, -16, 256, -256)
"""One universe, one sub-net, one net beside (Art-Net 4 p.7)."""
_LEAST = 2
"""Universes that must all be shifted alike; one alone may be any slip."""


def compare(plan: Plan, network: Network, now: int) -> tuple[Standing, ...]:
    """The plan's boxes in its order, then extra ones by first appearance; ``now`` in ns."""
    heard = boxes(network, now)
    matched = match(plan.devices, [each for each in heard if not each.ours or _planned_mac(plan, each)])
    out = [_standing(plan, device, *matched[at], network.numbers, now) for at, device in enumerate(plan.devices)]
    taken = {id(box) for box, _ in matched if box is not None}
    out = _shifted_together(out, network.numbers)
    return (*out, *(_extra(each) for each in heard if id(each) not in taken and not _known_else(plan, each)))


def _planned_mac(plan: Plan, box: Heard) -> bool:
    return any(each.mac == box.mac for each in plan.devices if each.mac)


def _known_else(plan: Plan, box: Heard) -> bool:
    """This laptop, a server that the plan names by its address alone, a switch of which only its own word is known."""
    servers = {str(each) for each in (plan.querier, None if plan.dhcp is None else plan.dhcp.server) if each is not None}
    silent = not (box.addresses or box.sends or box.asks or box.outputs or box.asked_dhcp)
    return box.ours or silent or bool(servers & set(box.addresses))


# ---- matching ----


def match(devices: Iterable[Device], heard: list[Heard]) -> list[tuple[Heard | None, str]]:
    """For each device its box and by what it was found; each box once."""
    devices = list(devices)
    out: list[tuple[Heard | None, str]] = [(None, "")] * len(devices)
    free = list(heard)
    for by, fits in (("MAC", _by_mac), ("name", _by_name), ("address", _by_address)):
        for at, device in enumerate(devices):
            if out[at][0] is None:
                found = [each for each in free if fits(device, each)]
                # Of several with one name the one at the planned place in the network.
                box = min(found, key=lambda each: (not _by_address(device, each), each.first), default=None)
                if box is not None:
                    out[at] = box, by
                    free.remove(box)
    return out


def _by_mac(device: Device, box: Heard) -> bool:
    return bool(device.mac) and device.mac == box.mac


def _by_name(device: Device, box: Heard) -> bool:
    return any(same_name(device.name, name) for name in box.names)


def _by_address(device: Device, box: Heard) -> bool:
    return device.address is not None and str(device.address) in box.addresses


def same_name(planned: str, heard: str) -> bool:
    """Signs and case do not count, for host names may not hold all (RFC 1123 2.1); a name may be cut after 17 signs."""
    one, other = plain_name(planned), plain_name(heard)
    return bool(one) and (one == other or (len(heard) == _SHORT_NAME and plain_name(planned[:_SHORT_NAME]) == other))


def plain_name(name: str) -> str:
    return re.sub(r"[\W_]+", "", name.casefold())


# ---- one box ----


def _standing(plan: Plan, device: Device, box: Heard | None, by: str, numbers: Numbers, now: int) -> Standing:
    bare = Standing(MISSING, device.name, device.place, device.asset)
    if box is None:
        address = "DHCP" if device.dhcp else str(device.address or "")
        return replace(bare, mac=device.mac, planned=(address,) if address else ())
    found = tuple(_differences(plan, device, box, by, numbers, now))
    return replace(
        bare, state=DIFFERS if found else HERE, by=by, mac=box.mac, addresses=tuple(box.addresses), names=tuple(box.names),
        maker=box.maker, differences=found, last=box.last,
    )


def _extra(box: Heard) -> Standing:
    return Standing(
        EXTRA, box.name, mac=box.mac, addresses=tuple(box.addresses), names=tuple(box.names), maker=box.maker, last=box.last
    )


def _differences(plan: Plan, device: Device, box: Heard, by: str, numbers: Numbers, now: int) -> Iterable[Difference]:
    if device.mac and box.mac and device.mac != box.mac:
        yield Difference("mac", (device.mac,), (box.mac,))
    if box.names and by != "name" and not _by_name(device, box):
        yield Difference("name", (device.name,), tuple(box.names))
    yield from _address(plan, device, box)
    priorities = sorted({each for each in box.sends.values() if each is not None})
    if device.priority is not None and priorities and priorities != [device.priority]:
        yield Difference("priority", (device.priority,), tuple(priorities))
    # A plan that names no sender at all says nothing of who sends; else a box without universes is meant to send none.
    if any(each.sends for each in plan.devices):
        yield from _universes("sends", device.sends, *_sent(box, numbers, now))
    if any(each.receives for each in plan.devices):
        yield from _universes("receives", device.receives, *_received(device, box, numbers, now))


def _address(plan: Plan, device: Device, box: Heard) -> Iterable[Difference]:
    if device.address is not None and box.addresses and not _by_address(device, box):
        yield Difference("address", (str(device.address),), tuple(box.addresses))
    dhcp = plan.dhcp if device.dhcp and box.addresses else None
    if dhcp is not None and dhcp.first is not None and not any(dhcp.gives(IPv4Address(each)) for each in box.addresses):
        yield Difference("address", ("DHCP", str(dhcp.first), str(dhcp.last)), tuple(box.addresses))


def _sent(box: Heard, numbers: Numbers, now: int) -> tuple[set[Light], set[str]]:
    """(universes that it sends or says it sends, protocols of which nothing else can be missing)."""
    whole = set()
    if now - box.first >= numbers.plan_wait_s * NS:
        whole = {E131, ARTNET} if box.hears_all else {E131} if box.lists is not None else set()
    return {*box.sends, *(box.lists or ())}, whole


def _received(device: Device, box: Heard, numbers: Numbers, now: int) -> tuple[set[Light], set[str]]:
    """The same of what it puts out or asks for."""
    whole = {ARTNET} if box.outputs is not None else set()
    if box.hears_all and box.asks and now - box.asked >= numbers.plan_wait_s * NS:
        whole.add(E131)
    # A controller may ask for what others send, to watch it: no plan says so.
    asks = set(box.asks) - set(device.sends)
    return {*(box.outputs or ()), *asks}, whole


def _universes(what: str, planned: tuple[Light, ...], heard: set[Light], whole: set[str]) -> Iterable[Difference]:
    """What is heard and not planned, or planned and surely not done; shifted numbers as such."""
    strange = heard - set(planned)
    lacking = {light for light in set(planned) - heard if light.protocol in whole}
    if not strange and not lacking:
        return
    step = _step(set(planned), heard) if strange else None
    yield Difference(
        "numbering" if step else what, planned, tuple(sorted(heard)), tuple(sorted(strange)), tuple(sorted(lacking)), step
    )


def _step(planned: set[Light], heard: set[Light]) -> int | None:
    """By how much all that was heard lies beside what was planned; None where it does not, or where one alone says so."""
    if len(heard) < _LEAST:
        return None
    for step in _STEPS:
        if heard <= {Light(each.protocol, each.number + step) for each in planned}:
            return step
    return None


def _shifted_together(standings: list[Standing], numbers: Numbers) -> list[Standing]:
    """Boxes of one universe each: where most of those that differ lie by the same number beside, it is the numbering."""
    single: dict[tuple[int, int], int] = {}
    for at, each in enumerate(standings):
        for place, difference in enumerate(each.differences):
            if difference.what in ("sends", "receives") and len(difference.planned) == len(difference.heard) == 1:
                (planned,), (heard,) = difference.planned, difference.heard
                if planned.protocol == heard.protocol:
                    single[at, place] = heard.number - planned.number
    if not single:
        return standings
    step, count = Counter(single.values()).most_common(1)[0]
    if count < 3 or count < numbers.shifted_match * len(single):
        return standings
    out = list(standings)
    for (at, place), shift in single.items():
        if shift == step:
            found = list(out[at].differences)
            found[place] = replace(found[place], what="numbering", step=step)
            out[at] = replace(out[at], differences=tuple(found))
    return out
