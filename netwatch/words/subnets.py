"""Words of the alerts about subnets: other networks, masks that differ, addresses that no box can have."""

from __future__ import annotations

from .base import CAUTION, NOTHING, Clock, Words, after_show, said
from .phrases import Facts, count, mask, name, with_mask


def _subnet_title(facts: Facts) -> str:
    address = name(facts.get("address"), "")
    rest = "than the plan says" if facts.get("by_plan") else "than the other boxes"
    return f"{name(facts.get('who'), 'A device')}{f' ({address})' if address else ''} is in another network {rest}"


def _subnet_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    subnet, others, artnet = facts.get("subnet"), facts.get("others"), facts.get("artnet")
    whole = name(subnet, "") if facts.get("guessed") else with_mask(subnet or "")
    return said(
        f"Its address is {name(facts.get('address'), 'unknown')}.",
        f"The planned network is {with_mask(subnet)}." if subnet and facts.get("by_plan") else None,
        f"In {whole}: {count(others, 'other box', 'other boxes')} with light." if subnet and others else None,
        "Their mask is not known, but no mask makes these one network." if facts.get("guessed") else None,
        "It uses Art-Net, which reaches only boxes of the same network." if artnet else None,
        "It was heard with sACN by multicast only, which gets through all the same." if artnet is False else None,
    )


_THAN = {"plan": "than planned", "dhcp": "than the DHCP server gives", "laptop": "than this laptop"}


def _mask_title(facts: Facts) -> str:
    than = _THAN.get(facts.get("how") or "") or f"than {name(facts.get('other'), 'other boxes')}"
    return f"{name(facts.get('who'), 'A device')} seems to have another mask {than}"


def _mask_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    who, address, prefix = name(facts.get("who"), "It"), name(facts.get("address"), "its address"), facts.get("prefix")
    broadcast, target, right, other = (facts.get(key) for key in ("broadcast", "target", "right", "other"))
    other_mask = f"{name(other, 'others')} fit {with_mask(right)}." if right and other else None
    return said(
        f"{who} ({address}) sends to all of its network at {name(broadcast, '')}." if broadcast else None,
        f"{who} ({address}) asks for {name(target, '')} as if it were in its own network." if target else None,
        f"That fits the mask {mask(prefix)}." if isinstance(prefix, int) and not target else None,
        other_mask or (f"Right would be {with_mask(right)}." if right else None),
    )


_WHY_INVALID = {
    "network": "the first one of its network, which stands for the network itself",
    "broadcast": "the last one of its network, which means all boxes",
    "this-network": "one that begins with 0, which is for boxes without an address",
    "loopback": "one that begins with 127, which never leaves a box",
    "group": "one of a group, to which many listen",
    "reserved": "one that is reserved",
}


def _invalid_title(facts: Facts) -> str:
    who, address = name(facts.get("who"), "A device"), name(facts.get("address"), "an address")
    verdict = "many small devices refuse" if facts.get("what") == "perhaps" else "no device can have"
    return f"{who} uses {address}, which {verdict}"


def _invalid_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    why, subnet = _WHY_INVALID.get(facts.get("what") or ""), facts.get("subnet")
    return said(
        f"It sends from {name(facts.get('address'), 'an address')}.",
        f"That address is {why}." if why else None,
        f"The network is {with_mask(subnet)}." if subnet else None,
        "Its mask is not known: with a short mask the address is right." if facts.get("what") == "perhaps" else None,
    )


_SET = f"it may restart; {CAUTION}"

SUBNETS: dict[str, Words] = {
    "wrong-subnet": Words(
        title=_subnet_title,
        why="Controllers find and configure only devices of their own network, and Art-Net reaches only those. Light by "
        "multicast may "
        "get through all the same, which hides the fault.",
        steps=(
            ("Compare the address of {who} with the plan. Is it a maker's default?", NOTHING),
            ("Are two rigs, or a router between them, meant to be here? Then nothing is to be done.", NOTHING),
            after_show("Give {who} an address of the network that the others are in, with the same mask.", _SET),
        ),
        mistaken=(
            "a router that joins the two networks on purpose",
            "two rigs that share the switches on purpose",
            "a device that made up an address (169.254.x.y): told by an alert of its own",
            "one network with a shorter mask than was heard",
        ),
        seen=_subnet_seen,
        sure={
            "certain": "the address lies in no network of the plan",
            "likely": "nearly all boxes with light are in another network, and no router joins the two",
            "hint": "few boxes were heard",
        },
        how="The addresses of boxes with light are put into networks by the plan's mask, else by what the DHCP server and this "
        "laptop say, "
        "else by the greatest network that they could be in. At most one in five alone in another network is told.",
        where="Mirror port, ordinary port, Wi-Fi: yes, ARP and light by multicast come here. Limited view: no.",
    ),
    "wrong-mask": Words(
        title=_mask_title,
        why="Two devices with different masks reach each other in one direction only, or not at all. Small nodes can hang on "
        "answers that go to the wrong address.",
        steps=(
            ("Look up the mask on both devices, and in the plan.", NOTHING),
            after_show("Give the same mask to all boxes of the network.", _SET),
            ("If the DHCP server gives out the wrong one, put it right there first.", "nothing, unless the server restarts "
            "for it"),
        ),
        mistaken=(
            "networks that are split on purpose",
            "programs that always send to 2.255.255.255, whatever their mask",
            "sending to 255.255.255.255, which says nothing about a mask",
            "a wrong mask on this very laptop",
        ),
        seen=_mask_seen,
        sure={
            "certain": "the mask is known from the plan, the DHCP server or this laptop, and what the device sends does not "
            "fit it",
            "likely": "the addresses at which two devices reach all others contradict each other",
            "hint": "a single sign of it",
        },
        how="No packet carries a mask. It shows by the address at which a device reaches all of its network, and by whom it "
        "asks for "
        "directly.",
        where="Mirror port and ordinary port: what goes to all is heard. Wi-Fi: if the access point passes it on. Limited "
        "view: no.",
    ),
    "invalid-address": Words(
        title=_invalid_title,
        why="Such a device gets no answer from anybody, or all others get its packets.",
        steps=(
            ("Look up address and mask on {who}, and in the plan.", NOTHING),
            after_show("Give {who} a free address between the first and the last of its network.", _SET),
        ),
        mistaken=(
            "an address that ends in 0 or 255 under a short mask, such as 10.0.0.255 with 255.0.0.0: that is right",
            "0.0.0.0, which boxes use before they have an address: not told here",
            "a router that passes on what far boxes send",
        ),
        seen=_invalid_seen,
        sure={
            "certain": "the mask is known from the plan, the DHCP server or this laptop, or no mask at all makes the "
            "address right",
            "likely": "the mask was guessed from what the device sends",
            "hint": "the address ends in 0 or 255, and the mask is not known",
        },
        how="The first and the last address of a network belong to no device. Which these are, only the mask says. "
        "Addresses that begin "
        "with 0, 127 or 224 to 255 belong to none at all.",
        where="Mirror port, ordinary port, Wi-Fi: yes. Limited view: no.",
    ),
}
