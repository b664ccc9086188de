"""The answers to what this laptop asked, out of the model."""

from __future__ import annotations

from collections.abc import Callable
from ipaddress import IPv4Address
from typing import TYPE_CHECKING, Any

import numpy as np

from netwatch.decode.text import mac_number, mac_text
from netwatch.network.asked import Question
from netwatch.network.network import Network
from netwatch.network.vendors import vendor
from netwatch.plan.rig import Plan
from netwatch.story.asked_view import Answer, AskedView

if TYPE_CHECKING:
    from netwatch.story.play import Player


def views(player: Player) -> tuple[AskedView, ...]:
    """Every question, in order."""
    return tuple(_view(player.network, player.plan, each) for each in player.network.questions)


def asked_for(network: Network, segment: int, first: int) -> bool:
    """Was something heard for the first time while this laptop asked?"""
    return any(each.holds(segment, first) for each in network.questions)


def _view(network: Network, plan: Plan | None, question: Question) -> AskedView:
    answers = {"dhcp": _servers, "artnet": _nodes, "arp": _owners}[question.kind](network, plan, question)
    found = {each.address for each in answers}
    silent = tuple((each, _planned_name(plan, each)) for each in question.targets if each not in found)
    return AskedView(question.kind, question.at, question.until, network.interface(question.segment), tuple(answers), silent)


def _servers(network: Network, plan: Plan | None, question: Question) -> list[Answer]:
    """Servers that answered, in the order of their first words."""
    out: dict[str, Answer] = {}
    for record in question.answers:
        server = record.server or record.src
        dhcp = None if plan is None else plan.dhcp
        out.setdefault(server, Answer(
            server, record.mac, vendor(record.mac) if record.mac else "",
            _name(network, plan, question.segment, record.mac, server), None if dhcp is None else str(dhcp.server) == server,
            offered=record.yiaddr, mask=record.mask, router=record.routers[0] if record.routers else "", lease=record.lease,
        ))  # fmt: skip
    return list(out.values())


def _nodes(network: Network, plan: Plan | None, question: Question) -> list[Answer]:
    """Nodes that spoke since; all binds of a box together."""
    own = {mac_text(mac) for mac in network.own(question.segment)}
    boxes: dict[tuple[str, str], list[Any]] = {}
    for bind in network.nodes.binds.values():
        if bind.segment == question.segment and bind.last >= question.at and bind.mac not in own:
            boxes.setdefault((bind.src, bind.mac), []).append(bind)
    out = []
    for (address, mac), binds in sorted(boxes.items(), key=lambda each: IPv4Address(each[0][0])):
        name = _planned_name(plan, address, mac) or binds[0].long_name or binds[0].short_name
        out.append(Answer(
            address, mac, vendor(mac) if mac else "", name, _is_planned(plan, address, mac),
            outputs=_all(binds, "outputs"), fed=_all(binds, "fed"), merging=_all(binds, "merging"),
            follows_e131=_all(binds, "follows_e131"),
        ))  # fmt: skip
    return out


def _all(binds: list[Any], field: str) -> tuple[int, ...]:
    return tuple(sorted({number for bind in binds for number in getattr(bind, field)}))


def _owners(network: Network, plan: Plan | None, question: Question) -> list[Answer]:
    """Who spoke from an asked address since; several boxes are rivals."""
    claims, own, out = network.claims, network.own(question.segment), list[Answer]()
    for address in question.targets:
        ids = np.array(claims.by_address.get((question.segment, int(IPv4Address(address))), ()), np.int64)
        here = sorted(ids[claims.last[ids] >= question.at].tolist(), key=lambda each: int(claims.first[each]))
        macs = [mac_text(mac) for each in here if (mac := claims.key(each)[1]) not in own]
        if macs:
            out.append(Answer(
                address, macs[0], vendor(macs[0]), _name(network, plan, question.segment, macs[0], address),
                _is_planned(plan, address, macs[0]), rivals=tuple(macs[1:]),
            ))  # fmt: skip
    return out


def _name(network: Network, plan: Plan | None, segment: int, mac: str, address: str) -> str:
    """By the plan, else by its own word, '' = it has none."""
    own = network.box_name(segment, mac_number(mac)) if mac else ""
    return _planned_name(plan, address, mac) or ("" if own == mac else own)


def _planned_name(plan: Plan | None, address: str, mac: str = "") -> str:
    devices = () if plan is None else plan.devices
    by_mac = next((each.name for each in devices if mac and each.mac == mac), "")
    return by_mac or next((each.name for each in devices if str(each.address) == address and not (mac and each.mac)), "")


def _is_planned(plan: Plan | None, address: str, mac: str) -> bool | None:
    return None if plan is None else bool(_planned_name(plan, address, mac))


# ---- JSON ----


def document(view: AskedView, seconds: Callable[[int | None], float | None]) -> dict[str, Any]:
    """As plain values."""
    return {
        "kind": view.kind,
        "at": seconds(view.at),
        "until": seconds(view.until),
        "interface": view.interface,
        "answers": [_answer(view.kind, each) for each in view.answers],
        "silent": [{"address": address, "name": name} for address, name in view.silent],
    }


def _answer(kind: str, answer: Answer) -> dict[str, Any]:
    fields = {
        "dhcp": ("offered", "mask", "router", "lease"),
        "artnet": ("outputs", "fed", "merging", "follows_e131"),
        "arp": ("rivals",),
    }[kind]
    told = {key: getattr(answer, key) for key in ("address", "mac", "maker", "name", "planned", *fields)}
    return {key: list(value) if isinstance(value, tuple) else value for key, value in told.items()}
