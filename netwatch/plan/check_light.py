"""Contradictions in a plan's universes: who sends and receives what, numbering, groups, load on links."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator

from netwatch.numbers import Numbers
from netwatch.plan.problem import Problem
from netwatch.plan.rig import Device, Plan
from netwatch.plan.universes import ARTNET, E131, Light, group, group_mac

LINE_BYTES = {E131: 704, ARTNET: 596}
"""Of a frame of 512 slots on the wire, with preamble and gap (E1.31-2018, Art-Net 4, RFC 768, RFC 791, IEEE 802.3: computed)."""
DEFAULT_PRIORITY = 100
"""E1.31-2018 6.2.3."""


def mbit(lights: int, protocol: str, hz: float) -> float:
    """Mbit/s of so many full universes."""
    return lights * LINE_BYTES[protocol] * 8 * hz / 1e6


def fitting(speed: float, protocol: str, hz: float) -> int:
    """Full universes that fill a link of so many Mbit/s."""
    return int(speed * 1e6 // (LINE_BYTES[protocol] * 8 * hz))


def senders(plan: Plan) -> dict[Light, list[Device]]:
    """By universe, in the order of the plan."""
    found: dict[Light, list[Device]] = defaultdict(list)
    for device in plan.devices:
        for light in device.sends:
            found[light].append(device)
    return found


def receivers(plan: Plan) -> dict[Light, list[Device]]:
    """By universe, in the order of the plan."""
    found: dict[Light, list[Device]] = defaultdict(list)
    for device in plan.devices:
        for light in device.receives:
            found[light].append(device)
    return found


def problems(plan: Plan, numbers: Numbers) -> Iterator[Problem]:
    """All of them."""
    sent, received = senders(plan), receivers(plan)
    yield from _shared(sent)
    yield from _unmatched(sent, received)
    yield from _far(plan, sent, received)
    yield from _numbering(plan)
    yield from _groups(plan, {*sent, *received}, numbers)
    yield from _load(plan, {*sent, *received}, received, numbers)


# ---- who ----


def _shared(sent: dict[Light, list[Device]]) -> Iterator[Problem]:
    """Several senders of a universe; the same ones of many universes are told once."""
    together: dict[tuple[tuple[Device, ...], bool], list[Light]] = defaultdict(list)
    for light, devices in sent.items():
        if len(devices) > 1:
            priorities = [DEFAULT_PRIORITY if each.priority is None else each.priority for each in devices]
            fight = light.protocol == ARTNET or priorities.count(max(priorities)) > 1
            together[tuple(devices), fight].append(light)
    for (rivals, fight), lights in together.items():
        facts = {"names": [each.name for each in rivals], "lights": lights, "artnet": lights[0].protocol == ARTNET}
        yield Problem("sent-twice" if fight else "standby", "soon" if fight else "note", facts, tuple(d.origin for d in rivals))


def _unmatched(sent: dict[Light, list[Device]], received: dict[Light, list[Device]]) -> Iterator[Problem]:
    """A plan that knows senders and receivers should match them."""
    lonely, unheard = sorted(set(received) - set(sent)), sorted(set(sent) - set(received))
    if sent and lonely:
        names = list(dict.fromkeys(each.name for light in lonely for each in received[light]))
        yield Problem("nobody-sends", "tidy", {"lights": lonely, "names": names})
    if received and unheard:
        names = list(dict.fromkeys(each.name for light in unheard for each in sent[light]))
        yield Problem("nobody-receives", "note", {"lights": unheard, "names": names})


def _far(plan: Plan, sent: dict[Light, list[Device]], received: dict[Light, list[Device]]) -> Iterator[Problem]:
    """Art-Net goes by unicast, so sender and receiver must be neighbours; sACN must stay in one VLAN."""
    pairs: dict[tuple[str, str, str], list[Light]] = defaultdict(list)
    for light, devices in sent.items():
        for sender in devices:
            for receiver in received.get(light, ()):
                code = _apart(plan, sender, receiver, light.protocol)
                if code:
                    pairs[code, sender.name, receiver.name].append(light)
    for (code, one, other), lights in pairs.items():
        yield Problem(code, "soon", {"sender": one, "receiver": other, "lights": lights})


def _apart(plan: Plan, sender: Device, receiver: Device, protocol: str) -> str:
    here, there = (None if each.address is None else plan.subnet(each.address) for each in (sender, receiver))
    if here is None or there is None or here == there:
        return ""
    if protocol == ARTNET and here.gateway is None:
        return "artnet-apart"
    return "vlans-apart" if here.vlan is not None and there.vlan is not None and here.vlan != there.vlan else ""


# ---- numbers ----


def usual_offset(plan: Plan) -> int | None:
    """Art-Net number less sACN number, as most of the plan's numbering has it; None = it says nothing of it."""
    found = Counter(each.artnet - each.sacn for each in plan.numbering if each.sacn is not None and each.artnet is not None)
    return found.most_common(1)[0][0] if found else None


def _numbering(plan: Plan) -> Iterator[Problem]:
    counts: Counter[Light] = Counter(light for each in plan.numbering for light in each.lights)
    for light in sorted(light for light, count in counts.items() if count > 1):
        yield Problem("numbered-twice", "soon", {"lights": [light]})
    desks = Counter(each.desk for each in plan.numbering if each.desk)
    for desk in (desk for desk, count in desks.items() if count > 1):
        yield Problem("desk-twice", "tidy", {"desk": desk})
    usual = usual_offset(plan)
    odd = [each for each in plan.numbering if each.sacn and each.artnet is not None and each.artnet - each.sacn != usual]
    for each in odd:
        assert usual is not None
        yield Problem("offset-differs", "tidy", {"lights": each.lights, "offset": usual})
    used = {light for _, light in plan.lights()}
    unnamed = sorted(used - set(counts)) if plan.numbering else []
    if unnamed:
        yield Problem("not-numbered", "note", {"lights": unnamed})


def _groups(plan: Plan, used: set[Light], numbers: Numbers) -> Iterator[Problem]:
    """Switches and cards tell groups by their MAC alone: 32 groups share each (RFC 1112 6.4)."""
    sacn = sorted(light.number for light in used if light.protocol == E131)
    by_mac = {group_mac(group(number)): number for number in sacn}
    for other in plan.groups:
        universe = by_mac.get(group_mac(str(other.address)))
        if universe is not None:
            same = group(universe) == str(other.address)
            facts = {"name": other.name, "address": str(other.address), "lights": [Light(E131, universe)],
                     "group": group(universe), "mac": group_mac(group(universe))}  # fmt: skip
            yield Problem("group-same" if same else "group-mac", "soon", facts)
    if sacn and plan.querier is None:
        yield Problem("no-querier", "tidy")
    if len(sacn) > numbers.flooded_groups:
        yield Problem("many-groups", "note", {"groups": len(sacn)})


# ---- load ----


def load(device: Device, received: dict[Light, list[Device]], hz: float) -> tuple[float, float]:
    """(Mbit/s that a box sends, that it receives) with all universes full; Art-Net goes once to each receiver."""
    copies = [(each.protocol, len(received.get(each, ())) or 1 if each.protocol == ARTNET else 1) for each in device.sends]
    sends = sum(mbit(count, protocol, hz) for protocol, count in copies)
    return sends, sum(mbit(1, each.protocol, hz) for each in device.receives)


def _load(plan: Plan, used: set[Light], received: dict[Light, list[Device]], numbers: Numbers) -> Iterator[Problem]:
    for device in plan.devices:
        speed = device.link or numbers.plan_link_mbit
        for way, rate in zip(("sends", "receives"), load(device, received, numbers.plan_hz), strict=True):
            if rate > speed * numbers.plan_link_share:
                facts = {"name": device.name, "mbit": rate, "speed": speed, "assumed": device.link is None, "way": way}
                yield Problem("link-full", "soon" if rate > speed else "tidy", facts, (device.origin,))
    flooded = sum(mbit(1, light.protocol, numbers.plan_hz) for light in used if light.protocol == E131)
    slowest = min((each.link for each in plan.devices if each.link), default=int(numbers.plan_link_mbit))
    if flooded > slowest * numbers.plan_link_share:
        yield Problem("flood-full", "tidy", {"mbit": flooded, "speed": slowest, "universes": len(used)})
