"""P5: this laptop has no address, made one up, or has one of another network than the boxes that it hears."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import IPv4Address
from typing import Any

from netwatch.alerts.addresses import Held, next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.reference import Known, expected_of, is_link_local, known_subnets, special
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.text import address_text
from netwatch.network import masks
from netwatch.network.habits import ASKS
from netwatch.network.network import Network
from netwatch.network.subnets import LINK_LOCAL
from netwatch.network.vantage import PortState

_PROPOSED = (*range(250, 199, -1), *range(199, 9, -1))
"""Last octets in the order in which they are proposed: most people begin low. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class _Heard:
    """Addresses of the other boxes of a port, one list a box."""

    usual: list[list[int]]
    made_up: int
    """Boxes that have a made-up address alone."""

    def outside(self, state: PortState) -> int:
        """Boxes with no address in one of this laptop's networks."""
        nets = [each.network for each in state.laptop.addresses]
        return sum(not any(IPv4Address(each) in net for net in nets for each in box) for box in self.usual)


class LaptopAddress:
    """P5. For pure listening it does not matter; for asking, and for programs that wait for light, it does."""

    rule = Rule(
        "laptop-address",
        steady=True, certainty={"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"},
        about_laptop=True, numbers=("own_address_wait_s", "own_boxes_least", "subnet_few", "link_local_few", "hosts_within_s"),
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        for index, state in sorted(network.vantage.ports.items()):
            if state.told is None or not state.laptop.link or state.laptop.kind == "tunnel" or state.laptop.master:
                continue
            due = max(state.told, state.linked or 0) + int(network.numbers.own_address_wait_s * NS)
            looked.later(min(next_grid(now), due) if due > now else next_grid(now), now)
            if due <= now:
                finding = self._judge(network, index, state, now)
                looked.findings += [finding] if finding is not None else []
        return looked

    def _judge(self, network: Network, index: int, state: PortState, now: int) -> Finding | None:
        numbers, mine = network.numbers, [each for each in state.laptop.addresses if not each.ip.is_loopback]
        heard = _heard(network, index, now)
        boxes = len(heard.usual) + heard.made_up
        if not mine:
            return None if state.vantage == "mirror" else self._finding(network, index, now, "none", heard, {})
        if all(each.ip in LINK_LOCAL for each in mine):
            alike = boxes and heard.made_up >= (1 - numbers.link_local_few) * boxes
            return None if alike else self._finding(network, index, now, "made-up", heard, {"address": str(mine[0].ip)})
        outside = heard.outside(state)
        few = len(heard.usual) - outside <= numbers.subnet_few * len(heard.usual)
        if outside < numbers.own_boxes_least or not few:
            return None
        return self._finding(network, index, now, "elsewhere", heard, {"address": str(mine[0]), "outside": outside})

    @staticmethod
    def _finding(
        network: Network, index: int, now: int, what: str, heard: _Heard, facts: Mapping[str, Any]
    ) -> Finding:
        name, state = network.interface(index << 24), network.vantage.port(index)
        asked = any(act.segment >> 24 == index for act in network.queries.acts)
        served = next((address for (where, address), _ in network.leases.servers.items() if where == index << 24), None)
        return Finding(
            index << 24, f"port:{name}", "soon" if asked or state.laptop.limited else "tidy", "certain", now,
            {"interface": name, "what": what, "boxes": len(heard.usual) + heard.made_up, "server": served,
             "proposed": propose(network, index << 24, heard.usual), "limited": state.laptop.limited, "asked": asked, **facts},
        )  # fmt: skip


def _heard(network: Network, index: int, now: int) -> _Heard:
    """Of the untagged segment, and without this laptop; those heard lately. Where headers are made up, senders of light."""
    segment, within = index << 24, int(network.numbers.hosts_within_s * NS)
    own = network.own(segment)
    by_box: dict[int, list[int]] = {}
    held: Held = network.claims.addresses()
    for (where, mac), claims in held.items():
        if where == segment and mac not in own:
            lately = [each for claim, each in claims if now - network.presence.last(network.claims, claim) < within]
            by_box[mac] = [each for each in lately if not special(each)]
    if not by_box:
        streams, size = network.streams, network.streams.table.size
        here = streams.table.used[:size] & (streams.segment[:size] == segment) & (now - streams.last[:size] < within)
        by_box = {address: [address] for address in sorted(set(streams.src[:size][here].tolist()))}
    boxes = [[each for each in box if not is_link_local(each)] for box in by_box.values() if box]
    return _Heard([box for box in boxes if box], sum(not box for box in boxes))


def propose(network: Network, segment: int, boxes: list[list[int]]) -> str | None:
    """An address that nobody was heard to use or to ask for, as '10.0.0.250/16'; without a prefix where no mask is known."""
    known = [each for each in known_subnets(network, segment) if each.how != "laptop"]
    blocks = Counter(each & ~0xFF for box in boxes for each in box if not known or any(net.holds(each) for net in known))
    if not blocks:
        return None
    block = max(blocks, key=lambda each: (blocks[each], -each))
    subnet = next((each for each in known if each.holds(block)), None)
    taken = _taken(network, segment)
    for last in _PROPOSED:
        address = block | last
        if address not in taken and _free_by_plan(network, address, subnet):
            return address_text(address) + (f"/{subnet.prefix}" if subnet else "")
    return None


def _taken(network: Network, segment: int) -> set[int]:
    """Addresses that are used, or that somebody asks for."""
    asks = network.habits.held(ASKS)
    return {address for where, address in network.claims.by_address if where == segment} | set(
        asks.target[asks.segment == segment].tolist()
    )


def _free_by_plan(network: Network, address: int, subnet: Known | None) -> bool:
    """A host's address, not given out by DHCP and not promised to a device."""
    text, expected = address_text(address), expected_of(network)
    if subnet is not None and (not subnet.holds(address) or masks.role(address, subnet.prefix) != "host"):
        return False
    if expected is not None and (expected.in_pool(text) or any(each.address == text for each in expected.devices)):
        return False
    given = [int(IPv4Address(each)) for _, server in network.leases.servers.items() for each in server.answers]
    return not given or not min(given) <= address <= max(given)


OWN_ADDRESS_RULES = (LaptopAddress(),)
