"""Would a packet filter of Linux let light in? Reads what nft(8) and iptables(8) list; a rule not understood may do either.

The packet in question: IPv4, UDP, to a port of light, the first of its kind ('new'), from somebody on the wire; sACN goes to a
group, Art-Net to everybody. Forms: libnftables-json(5), iptables-extensions(8).
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

ACCEPT, DROP, ON = "accept", "drop", "return"
"""Outcomes; ON = the chain comes to its end, or the rule says no more."""
Rule: TypeAlias = tuple[bool | None, str, str]
"""(does it apply; None = perhaps, verdict, chain to go to)."""
_DEEPEST = 16
"""Jumps inside jumps (the kernel allows 16)."""


@dataclass(frozen=True, slots=True)
class Packet:
    """What is asked about."""

    port: int
    interface: str
    cast: str
    """multicast or broadcast."""


Chains: TypeAlias = Mapping[str, list[Rule]]


def outcomes(chains: Chains, name: str, end: str = ON, depth: int = 0) -> frozenset[str]:
    """What may become of the packet in a chain; ``end`` = its policy, or ON."""
    found: set[str] = set()
    for applies, verdict, target in chains.get(name, ()):
        if applies is False:
            continue
        here = {verdict} if verdict in (ACCEPT, DROP, ON) else {ACCEPT, DROP, ON}
        if verdict in ("jump", "goto"):
            here = set(outcomes(chains, target, ON, depth + 1)) if depth < _DEEPEST else {ACCEPT, DROP}
        leaves = verdict == "goto" or (verdict == ON and not target)
        found |= here - ({ON} if not leaves else set())
        if applies and (leaves or ON not in here):
            return frozenset(found - {ON} | ({end} if ON in found else set()))
    return frozenset(found - {ON} | {end})


# ---- nft ----


def nft(ruleset: Any, packet: Packet) -> frozenset[str]:
    """``nft -j list ruleset``. Tables that iptables keeps are left out: nft can't spell their rules."""
    objects = [each for each in _of(ruleset, "nftables", []) if isinstance(each, dict)]
    foreign = {_table(each["rule"]) for each in objects if any("xt" in part for part in _of(each.get("rule"), "expr", []))}
    sets = {(_table(each["set"]), each["set"].get("name")): each["set"].get("elem", []) for each in objects if "set" in each}
    chains: dict[str, list[Rule]] = {}
    bases: list[tuple[int, str, str]] = []
    for each in objects:
        what = each.get("chain") or each.get("rule") or {}
        where = _table(what)
        if what.get("family") not in ("ip", "inet") or where in foreign:
            continue
        if "chain" in each:
            chains.setdefault(f"{where} {what.get('name')}", [])
            if what.get("hook") in ("prerouting", "input") and what.get("type") == "filter":
                bases.append((what.get("prio") or 0, f"{where} {what['name']}", what.get("policy") or ACCEPT))
        elif "rule" in each:
            reader = _Nft(packet, where, lambda key, where=where: sets.get((where, key)))  # type: ignore[misc]
            chains.setdefault(f"{where} {what.get('chain')}", []).extend(reader.rules(what.get("expr") or []))
    return _one_after_the_other(outcomes(chains, name, policy) for _, name, policy in sorted(bases))


def _one_after_the_other(found: Iterable[frozenset[str]]) -> frozenset[str]:
    """A packet passes all base chains, or is dropped by one."""
    all_: frozenset[str] = frozenset({ACCEPT})
    for each in found:
        all_ = (all_ | each) if DROP in each and ACCEPT in each else frozenset({DROP}) if ACCEPT not in each else all_
        if all_ == {DROP}:
            return all_
    return all_


def _table(what: Any) -> str:
    return f"{_of(what, 'family', '')} {_of(what, 'table', _of(what, 'name', ''))}"


class _Nft:
    """Rules of one table."""

    def __init__(self, packet: Packet, table: str, sets: Callable[[str], Any]) -> None:
        self._packet, self._table, self._sets = packet, table, sets

    def rules(self, parts: list[dict[str, Any]]) -> list[Rule]:
        """One rule as one or, with a verdict map, several of ours."""
        applies: bool | None = True
        for part in parts:
            for what, value in part.items():
                if what == "match":
                    applies = _both(applies, self._match(value))
                elif what == "vmap":
                    return self._map(value, applies)
                elif what in ("accept", "drop", "reject", "return"):
                    return [(applies, DROP if what == "reject" else what, "")]
                elif what in ("jump", "goto"):
                    return [(applies, what, f"{self._table} {_of(value, 'target', '')}")]
                elif what in ("limit", "quota", "queue", "xt", "connlimit"):
                    applies = _both(applies, None)
        return [(applies, ON, "next")]

    def _map(self, value: Any, applies: bool | None) -> list[Rule]:
        known = self._known(_of(value, "key", {}))
        rules: list[Rule] = []
        for pair in _of(_of(value, "data", {}), "set", []):
            fits = None if known is None else _holds(pair[0], known, self._sets)
            rules += [(_both(_both(applies, fits), a), verdict, target) for a, verdict, target in self.rules([pair[1]])]
        return rules

    def _match(self, value: Any) -> bool | None:
        known = self._known(_of(value, "left", {}))
        if known is None:
            return None
        fits = _holds(_of(value, "right", None), known, self._sets)
        return fits if _of(value, "op", "") in ("==", "in") else None if fits is None or value["op"] != "!=" else not fits

    def _known(self, left: Any) -> tuple[object, ...] | None:
        """What a packet has at this place, in all its spellings; None = that depends."""
        packet = self._packet
        meta, payload, ct = _of(left, "meta", None), _of(left, "payload", None), _of(left, "ct", None)
        if meta:
            return {
                "iif": (packet.interface,), "iifname": (packet.interface,), "l4proto": ("udp", 17), "nfproto": ("ipv4", 2),
                "protocol": ("ip", 0x0800), "pkttype": (packet.cast,),
            }.get(meta.get("key"))  # fmt: skip
        if payload:
            protocol, field = payload.get("protocol"), payload.get("field")
            if protocol in ("tcp", "icmp", "icmpv6", "ip6", "sctp", "dccp", "esp", "ah"):
                return ()
            return {("udp", "dport"): (packet.port,), ("th", "dport"): (packet.port,), ("ip", "protocol"): ("udp", 17)}.get(
                (protocol, field)
            )
        if ct and ct.get("key") == "state":
            return ("new",)
        fib = _of(left, "fib", None)
        return (packet.cast,) if fib and fib.get("result") == "type" and fib.get("flags") in ("daddr", ["daddr"]) else None


def _holds(right: Any, known: tuple[object, ...], sets: Callable[[str], Any]) -> bool | None:
    """Is one of the spellings among the values? None = not understood."""
    if isinstance(right, str) and right.startswith("@"):
        elements = sets(right[1:])
        return None if elements is None else _holds({"set": elements}, known, sets)
    if isinstance(right, list):
        return _any(_holds(each, known, sets) for each in right)
    if isinstance(right, dict):
        if "set" in right:
            return _any(_holds(each, known, sets) for each in right["set"])
        if "range" in right:
            low, high = right["range"]
            return any(isinstance(each, int) and isinstance(low, int) and low <= each <= high for each in known)
        return _holds(right["elem"].get("val"), known, sets) if "elem" in right else None if known else False
    if isinstance(right, str) and right.endswith("*"):
        return any(isinstance(each, str) and each.startswith(right[:-1]) for each in known)
    return right in known


# ---- iptables ----

_BLIND = ("-m", "--comment", "--log-prefix", "--log-level", "--reject-with", "--limit-burst")
"""Options that decide nothing, and whose word is skipped."""


def iptables(listing: str, packet: Packet) -> frozenset[str]:
    """``iptables -S``: the filter table."""
    chains: dict[str, list[Rule]] = {}
    policy = ACCEPT
    for line in listing.splitlines():
        words = _words(line)
        if words == ["-P", "INPUT", "DROP"]:
            policy = DROP
        elif words[:1] == ["-A"] and len(words) > 1:
            chains.setdefault(words[1], []).append(_iptables_rule(words[2:], packet))
    return outcomes(chains, "INPUT", policy)


def _iptables_rule(words: list[str], packet: Packet) -> Rule:
    applies: bool | None = True
    verdict, target, negated = ON, "next", False
    while words:
        option = words.pop(0)
        if option == "!":
            negated = True
            continue
        value = words.pop(0) if words and not words[0].startswith("-") and words[0] != "!" else ""
        if option in ("-j", "-g"):
            known = {"ACCEPT": ACCEPT, "DROP": DROP, "REJECT": DROP, "RETURN": ON}.get(value)
            kept = value in ("LOG", "NFLOG", "MARK", "CONNMARK", "TRACE", "ULOG")
            verdict, target = (known, "") if known else (ON, "next") if kept else ("goto" if option == "-g" else "jump", value)
        elif option not in _BLIND:
            fits = _iptables_match(option, value, packet)
            applies = _both(applies, fits if not negated or fits is None else not fits)
        negated = False
    return applies, verdict, target


def _iptables_match(option: str, value: str, packet: Packet) -> bool | None:
    values = value.split(",")
    if option in ("-p", "--protocol"):
        return value in ("udp", "17", "all")
    if option in ("-i", "--in-interface"):
        return packet.interface.startswith(value[:-1]) if value.endswith("+") else packet.interface == value
    if option in ("--dport", "--dports", "--destination-port"):
        return any(_in_range(each, packet.port) for each in values)
    if option in ("--ctstate", "--state"):
        return "NEW" in values
    if option in ("--dst-type", "--pkt-type"):
        return packet.cast in [each.lower() for each in values]
    return None


def _in_range(text: str, port: int) -> bool:
    low, colon, high = text.partition(":")
    return low.isdigit() and int(low) <= port <= (int(high) if colon and high.isdigit() else int(low))


def _words(line: str) -> list[str]:
    try:
        return shlex.split(line)
    except ValueError:  # an open quote in a comment
        return re.split(r"\s+", line.strip())


# ---- three values ----


def _both(one: bool | None, other: bool | None) -> bool | None:
    if one is False or other is False:
        return False
    return None if one is None or other is None else True


def _any(values: Iterable[bool | None]) -> bool | None:
    found = list(values)
    return True if True in found else None if None in found else False


def _of(value: Any, key: str, otherwise: Any) -> Any:
    return value.get(key, otherwise) if isinstance(value, dict) else otherwise
