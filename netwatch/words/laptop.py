"""Words of the alerts about the laptop itself."""

from __future__ import annotations

from .base import NOTHING, Clock, Words, said
from .phrases import Facts, count, listing, name, names, number, seconds, with_mask
from .systems import SYSTEMS

ONLY_THIS = "only the view of this laptop"
KINDS = {"wired": "wired", "wifi": "Wi-Fi", "tunnel": "a tunnel", "virtual": "virtual", "unknown": "kind not told"}
"""Kinds of interface."""
PROTOCOLS = {5568: "sACN", 6454: "Art-Net"}
"""By UDP port."""
WHERE = "From what the laptop says of itself, from wherever it listens. A capture file tells it only if netwatch kept it."


def _dropping_title(facts: Facts) -> str:
    missed, where = facts.get("dropped"), name(facts.get("interface"), "")
    packets = count(missed, "packet", "packets") if missed is not None else "packets"
    return f"The recording missed {packets}{f' on {where}' if where else ''}: do not trust losses shown here"


def _dropping_doubt(facts: Facts) -> str:
    missed, where = facts.get("dropped"), name(facts.get("interface"), "")
    return f"{count(missed, 'packet', 'packets') if missed is not None else 'packets'} missed{f' on {where}' if where else ''}"


def _dropping_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    missed, span = facts.get("dropped"), facts.get("seconds")
    if missed is None and facts.get("moments"):
        senders, moments = facts.get("senders") or 3, count(facts["moments"], "moment", "moments")
        return (f"Up to {number(senders)} senders that have nothing in common lost packets at once, at {moments}.",)
    if missed is None:
        return ("The system says that it threw packets away before they were recorded.",)
    within = f" within {seconds(span)}" if span is not None else ""
    return said(f"The system threw away {number(missed)} packets{within} before they were recorded.")


def _one(facts: Facts, key: str = "interface", otherwise: str = "this interface") -> str:
    return name(facts.get(key), otherwise)


def _kind(facts: Facts, key: str) -> str:
    """' (Wi-Fi)'."""
    kind = facts.get(key)
    return f" ({KINDS[kind]})" if kind in KINDS and kind != "unknown" else ""


def _two_title(facts: Facts) -> str:
    return f"This laptop has {_two_doubt(facts)}"


def _two_doubt(facts: Facts) -> str:
    pair = [name(each, "") for each in (facts.get("interface"), facts.get("other")) if each]
    return f"two interfaces in one network{': ' if pair else ''}{listing(pair)}"


def _two_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    one, other = f"{_one(facts)}{_kind(facts, 'kind')}", f"{_one(facts, 'other', 'another one')}{_kind(facts, 'other_kind')}"
    return said(
        f"{one} and {other} both have an address in {name(facts['network'], '')}." if facts.get("network") else None,
        f"{one} and {other} hear the same {count(facts['boxes'], 'box', 'boxes')}." if facts.get("boxes") else None,
    )


def _nothing_title(facts: Facts) -> str:
    what, one = facts.get("what"), _one(facts)
    if what == "gone":
        return f"{one} is gone: the adapter was unplugged or switched off"
    if what == "no-link" and facts.get("kind") == "wifi":
        return f"{one} is in no Wi-Fi network"
    if what == "no-link":
        return f"{one} has no link: no cable, or the other end is off"
    elsewhere = names(facts.get("elsewhere"), 2)
    return f"Nothing is heard on {one}{f', but packets arrive on {elsewhere}' if elsewhere else ': no other box speaks here'}"


def _nothing_doubt(facts: Facts) -> str:
    what, one, elsewhere = facts.get("what"), _one(facts), names(facts.get("elsewhere"), 2)
    if what in ("gone", "no-link"):
        return f"{one} {'is gone' if what == 'gone' else 'has no link'}"
    return f"nothing is heard on {one}{f', but on {elsewhere}' if elsewhere else ''}"


def _nothing_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    lasted = f" for {seconds(facts['seconds'])}" if facts.get("seconds") is not None else ""
    elsewhere = names(facts.get("elsewhere"))
    told = {
        "gone": f"The system has had no interface of this name{lasted}.",
        "no-link": f"The system has told of no link{lasted}.",
        "silent": f"There is a link, but not one frame of another box came{lasted}: no light, no question, no sign of a switch.",
    }
    return said(told.get(facts.get("what") or ""), f"Meanwhile packets arrived on {elsewhere}." if elsewhere else None)


def _ports(facts: Facts, *, full: bool = False) -> str:
    """'sACN and Art-Net', in full with their UDP ports; 'light' where that is not told."""
    known = [port for port in facts.get("ports") or () if port in PROTOCOLS]
    return listing([f"{PROTOCOLS[port]} (UDP port {port})" if full else PROTOCOLS[port] for port in known]) or "light"


def _firewall_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    packets, within = facts.get("packets"), f" in {seconds(facts['seconds'])}" if facts.get("seconds") else ""
    where = name(facts.get("interface"), "the card")
    return said(
        f"{count(packets, 'packet', 'packets')} of {_ports(facts, full=True)} for this laptop came to {where}{within}; none got "
        "through to its programs." if packets else None,
        f"The rules of the firewall ({name(facts['firewall'], '')}) keep out {_ports(facts, full=True)}."
        if facts.get("firewall") else None,
    )  # fmt: skip


def _tunnel_title(facts: Facts) -> str:
    return f"{_one(facts, 'tunnel', 'A tunnel')}{_kind(facts, 'kind')} on this laptop takes {_taken(facts)} away from the rig"


def _tunnel_doubt(facts: Facts) -> str:
    return f"{_one(facts, 'tunnel', 'a tunnel')}{_kind(facts, 'kind')} takes {_taken(facts)}"


def _taken(facts: Facts) -> str:
    networks = listing([name(each, "") for each in facts.get("networks") or ()], 2)
    return networks or ("multicast" if facts.get("multicast") else "packets")


def _tunnel_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    by, boxes = _one(facts, "tunnel", "the tunnel"), names(facts.get("boxes"))
    nets = listing([name(each, "") for each in facts.get("networks") or ()])
    return said(
        f"{_one(facts)} is in {nets}, but the system would send packets for that network out by {by}." if nets else None,
        f"Multicast from programs that choose no interface would leave by {by}." if facts.get("multicast") else None,
        f"Answers to {boxes} would leave by {by}." if boxes else None,
    )


def _address_title(facts: Facts) -> str:
    what, one, address = facts.get("what"), _one(facts, otherwise="An interface"), name(facts.get("address"), "")
    if what == "made-up":
        return f"{one} of this laptop found no DHCP server and made up an address"
    if what == "elsewhere":
        return f"This laptop{f' ({address})' if address else ''} is in another network than the boxes that it hears"
    return f"{one} of this laptop has no usable address"


def _address_doubt(facts: Facts) -> str:
    told = {"made-up": "has a made-up address", "elsewhere": "is in another network than the boxes"}
    return f"{_one(facts)} {told.get(facts.get('what') or '', 'has no address')}"


def _address_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    boxes, outside, address = facts.get("boxes"), facts.get("outside"), facts.get("address")
    own = f"Its address is {with_mask(str(address))}." if address else "The system tells of no address."
    return said(
        own,
        f"Of {count(boxes, 'box', 'boxes')} heard, {number(outside)} are not in its network." if outside and boxes else None,
        f"{name(facts['server'], '')} gives out addresses here (DHCP)." if facts.get("server") else None,
        "Only light that is sent to this laptop can be seen, so this matters." if facts.get("limited") else None,
    )  # fmt: skip


LAPTOP: dict[str, Words] = {
    "two-interfaces-one-network": Words(
        title=_two_title,
        why="The laptop may ask by the wrong one, hear some things twice and miss others. Other findings may be wrong meanwhile.",
        steps=(
            ("Decide which one leads to the rig: usually the cable.", NOTHING),
            ("Switch the other one off while you measure.", "what this laptop does over it, such as internet"),
            ("If both must stay on: give them different networks, and choose the interface by name in every program.",
             "this laptop's own connections for some seconds"),
        ),
        mistaken=(
            "two interfaces in different networks, on purpose",
            "one card with two addresses",
            "cards that are bridged or teamed on the laptop itself",
        ),
        seen=_two_seen,
        sure={
            "certain": "their addresses and masks overlap, or the same boxes are heard on both",
            "likely": "not used",
            "hint": "not used",
        },
        how="Two interfaces with a link have addresses in one network, or nearly all boxes are heard on both.",
        where=WHERE,
        systems=SYSTEMS["two-interfaces-one-network"],
        doubt=_two_doubt,
    ),
    "nothing-heard-here": Words(
        title=_nothing_title,
        why="A laptop that hears nothing finds no fault. Silence here says nothing about the rig.",
        steps=(
            ("Look at the lights beside the socket: is the cable in, is the switch on, is the rig on?", NOTHING),
            ("If an adapter was unplugged, plug the same one in again: the watch goes on by itself, whatever name it then has. "
             "For another one end the watch and start it anew.", NOTHING),
            ("Listen where the rig is: 'netwatch laptop' lists the interfaces, '--on NAME' chooses one.", NOTHING),
            ("Try another cable, then another port of the switch.", ONLY_THIS),
        ),
        mistaken=(
            "a rig that is still switched off",
            "a switch that holds light back: then other frames still come, so that any frame ends this alert",
            "a switch port of an empty VLAN",
        ),
        seen=_nothing_seen,
        sure={
            "certain": "the system tells of no link, or not one frame of another box came",
            "likely": "not used",
            "hint": "not used",
        },
        how="The system tells that the link or the interface is gone; or there is a link, and no other box was ever heard.",
        where=WHERE,
        systems=SYSTEMS["nothing-heard-here"],
        doubt=_nothing_doubt,
    ),
    "firewall-in-the-way": Words(
        title=lambda facts: f"A firewall on this laptop keeps {_ports(facts)} from its programs",
        why="netwatch reads packets in front of the firewall, so all looks well; programs behind it on this laptop get no light.",
        steps=(
            ("See which firewall is on: 'netwatch laptop' names it where the system tells.", NOTHING),
            ("Let UDP ports 5568 (sACN) and 6454 (Art-Net) in, for private and for public networks.",
             "the laptop takes light from anybody on that network"),
            ("On a network of your own: switch the firewall off for a minute, see whether light gets through; then on again.",
             "the laptop's protection meanwhile"),
        ),
        mistaken=(
            "a program that waits on the address of another interface",
            "a UDP port that another program holds and does not share",
            "a group that nobody on this laptop asked for",
            "senders of another network, which the system itself refuses: they are not counted here",
        ),
        seen=_firewall_seen,
        sure={
            "certain": "light for this laptop came to the card, and the system handed none of it on",
            "likely": "the firewall's own rules say so",
            "hint": "not used",
        },
        how="Light for this laptop comes to the card, but for 5 s or more nothing comes out behind the system's filters.",
        where="Counted on Linux with the right to read frames. Elsewhere 'netwatch laptop' asks the firewall for its rules.",
        systems=SYSTEMS["firewall-in-the-way"],
        doubt=lambda facts: f"a firewall keeps {_ports(facts)} from programs",
    ),
    "tunnel-in-the-way": Words(
        title=_tunnel_title,
        why="What this laptop sends to the rig goes elsewhere: questions find no answer, and programs here reach no node.",
        steps=(
            ("See what it takes: 'netwatch laptop' shows each tunnel and virtual network.", NOTHING),
            ("Disconnect the tunnel (VPN) while you work on the rig.", "what this laptop does through the tunnel"),
            ("Switch off networks of virtual machines that you do not need.", "these virtual machines"),
            ("If the tunnel must stay: have it set up so that it leaves the rig's network alone.", NOTHING),
        ),
        mistaken=(
            "a tunnel that takes other networks only",
            "a virtual network that is up, but has nothing to do with the rig's addresses",
        ),
        seen=_tunnel_seen,
        sure={
            "certain": "not used",
            "likely": "the system itself says by which interface it would send",
            "hint": "not used",
        },
        how="The system is asked by which interface it would send to the rig's network and to groups of light. Nothing is sent.",
        where=WHERE,
        systems=SYSTEMS["tunnel-in-the-way"],
        doubt=_tunnel_doubt,
    ),
    "laptop-address": Words(
        title=_address_title,
        why="Listening works all the same. But questions find no answer, and programs here that wait for light may get none.",
        steps=(
            ("For listening alone leave it as it is.", NOTHING),
            ("If a box gives out addresses here: set the interface to automatic (DHCP) and wait a minute.",
             "this laptop's own connections for some seconds"),
            ("Else set an address that no box has, {proposed}; first look whether it stands in the list of boxes.",
             "this laptop's own connections for some seconds; a box that had the same address would suffer"),
        ),
        mistaken=(
            "a mirror port that one listens on without an address, on purpose",
            "the first minute after the cable was plugged",
            "a rig that works with made-up addresses (169.254) throughout",
        ),
        seen=_address_seen,
        sure={
            "certain": "the system tells the address, and the other boxes' addresses were heard",
            "likely": "not used",
            "hint": "not used",
        },
        how="A minute after link-up the interface has no address, a made-up one, or one outside of nearly all boxes' network.",
        where=WHERE,
        systems=SYSTEMS["laptop-address"],
        doubt=_address_doubt,
    ),
    "capture-dropping": Words(
        title=_dropping_title,
        why="What the laptop missed looks like loss on the network. Losses and short silences are not judged meanwhile.",
        steps=(
            ("Close other programs and plug in the power supply.", NOTHING),
            ("Use the built-in network socket, or an adapter on a fast (USB 3) socket.", "only the view of this laptop"),
            ("Take a port with less traffic, or mirror fewer ports.", "only the view of this laptop"),
        ),
        mistaken=(
            "a network that really loses packets for everybody: then the system's own count stays at zero",
            "counts that were there before the recording began",
        ),
        seen=_dropping_seen,
        sure={
            "certain": "the system counted them",
            "likely": "unrelated senders lost packets at the same instants",
            "hint": "some senders lost packets at the same instants",
        },
        how="The system's count of packets thrown away rises, or three or more unrelated senders lose within the same 20 ms.",
        where="From the laptop itself, or from the counts that a capture file carries.",
        doubt=_dropping_doubt,
    ),
}
