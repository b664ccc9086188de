"""Words of the alerts about addresses: DHCP, duplicates, link-local."""

from __future__ import annotations

from .base import CAUTION, NOTHING, Clock, Words, after_show, said
from .phrases import Facts, count, name, names, number, seconds, share


def _two_servers_title(facts: Facts) -> str:
    servers = [s for s in facts.get("servers") or () if name(s, "")]
    if len(servers) > 2:
        return f"{number(len(servers))} DHCP servers seen: {names(servers)} all hand out addresses"
    if not servers:
        return "Two DHCP servers seen: both hand out addresses"
    other = name(servers[1], "another one") if len(servers) == 2 else "another one"
    return f"Two DHCP servers seen: {name(servers[0], 'one')} and {other} both hand out addresses"


def _two_servers_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    same, macs, clients = facts.get("same_subnet"), facts.get("macs"), facts.get("clients")
    network = None
    if same is not None:
        network = (
            "Both give addresses of the same network: in time two devices get the same one."
            if same
            else "They give addresses of different networks: devices with one kind do not reach devices with the other."
        )
    return said(
        f"The servers name themselves {names(facts['servers'], 8)}." if facts.get("servers") else None,
        f"Their MACs: {names(macs, 8)}." if macs else "Their MACs were not seen.",
        network,
        "A device asked for the address of one server, and another server refused it." if facts.get("refused") else None,
        "Their settings are the same otherwise: they may be a pair on purpose." if facts.get("perhaps_a_pair") else None,
        f"Not in the plan: {names(facts['strangers'], 8)}." if facts.get("strangers") else None,
        f"{count(clients, 'device has', 'devices have')} asked them." if clients else None,
    )


def _no_answer_title(facts: Facts) -> str:
    clients = facts.get("clients") or []
    whom = names(clients) if len(clients) > 1 else name(facts.get("who"), names(clients))
    return f"No DHCP server answers {whom}".rstrip() if whom else "No DHCP server answers"


def _no_answer_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    tries, span, clients = facts.get("tries"), facts.get("seconds"), facts.get("clients") or []
    asked = f"{name(facts.get('who'), 'A device')} asked for an address"
    if tries is not None:
        asked += f" {count(tries, 'time', 'times')}"
    if span is not None:
        asked += f" within {seconds(span)}"
    return said(
        asked + " and never went on to accept one.",
        f"Without an answer: {names(clients, 12)}." if len(clients) > 1 else None,
    )


def _duplicate_title(facts: Facts) -> str:
    devices = max(len(facts.get("macs") or ()), 2)
    return f"{'Two' if devices == 2 else number(devices)} devices use {name(facts.get('address'), 'the same address')}"


def _duplicate_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    macs, called, turns = facts.get("macs"), facts.get("names"), facts.get("alternations")
    return said(
        f"{name(facts.get('address'), 'The address')} was used by {names(macs, 8)}." if macs else None,
        f"Known by the names {names(called, 8)}." if names(called) else None,
        f"The sender changed {count(turns, 'time', 'times')} between them." if turns else None,
        "Their MACs follow each other: this may be one box with two network sockets." if facts.get("perhaps_one_box") else None,
    )


def _link_local_title(facts: Facts) -> str:
    who = name(facts.get("who"), "A device")
    if facts.get("asked_dhcp") is False:
        return f"{who} made up an address for itself"
    return f"{who} found no DHCP server and made up an address"


def _link_local_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    asked, part = facts.get("asked_dhcp"), facts.get("share")
    asking = {True: "It had asked for an address before.", False: "It was not heard asking for an address."}
    return said(
        f"{name(facts.get('who'), 'A device')} uses {name(facts.get('address'), 'an address that begins with 169.254')} "
        "and no other address.",
        asking.get(asked) if asked is not None else None,
        f"{share(part)} of the boxes heard have such an address." if part is not None else None,
    )


ADDRESSES: dict[str, Words] = {
    "two-dhcp-servers": Words(
        title=_two_servers_title,
        why="Devices take the answer that comes first. After each restart other devices may have an address that does not fit, "
        "or one that a second device has already.",
        steps=(
            ("Decide which server is meant to be here. The plan should say it.", NOTHING),
            (
                "Find the other one by its address, MAC or maker. Often it is a Wi-Fi router plugged in by a LAN "
                "socket, a laptop "
                "that shares its connection, or a controller or media server whose DHCP is on.",
                NOTHING,
            ),
            (
                "Switch its DHCP off. If that can't be done, unplug the box.",
                "devices keep their addresses until they ask again; unplugged, all that runs through the box stops too",
            ),
            after_show(
                "Restart the devices that got their address from it, one after the other.",
                f"what a device drives is dark until it is back, up to a minute; {CAUTION}",
            ),
            ("Watch here until each device has a new address.", NOTHING),
        ),
        mistaken=(
            "two servers that share the work on purpose: same network, same settings, never different answers",
            "one server with two addresses: then both have the same MAC",
            "a relay that passes questions on to one server",
            "two networks (VLANs, or wire and Wi-Fi) heard as one",
            "a device that came from another job, was refused once, and then got a good address",
        ),
        seen=_two_servers_seen,
        sure={
            "certain": "one question got two different offers, or one server refused what another had given",
            "likely": "devices named different servers in their requests; offers and refusals were not seen",
            "hint": "both serve one network with the same settings: this may be a planned pair",
        },
        how="Each request, offer and refusal names the server it belongs to. Two names in one network, which are not one MAC, "
        "are two servers.",
        where="Mirror port: offers, requests and refusals. Ordinary port: requests and refusals only, since offers "
        "go straight to the "
        "device that asked. Limited view: no.",
    ),
    "no-dhcp-answer": Words(
        title=_no_answer_title,
        why="The device has no address, or falls back to one that it makes up; the controller does not find it.",
        steps=(
            ("Wait until the cable has been in for 60 s: some switches pass nothing on before that.", NOTHING),
            ("Look whether the box that gives addresses is on, and whether its network socket shows a link.", NOTHING),
            (
                "Check in the switch that this box and the device are in the same VLAN.",
                "looking: nothing; changing the VLAN of a port cuts off all that hangs on it",
            ),
            after_show(
                "Plug one device straight into the box that gives addresses.",
                f"what that device drives is dark meanwhile; {CAUTION}",
            ),
            after_show(
                "Otherwise give fixed addresses from the plan.",
                f"many devices restart when their address is changed; {CAUTION}",
            ),
        ),
        mistaken=(
            "a rig with fixed addresses on purpose, in which only one device still asks",
            "a switch port that passes nothing for the first 30 s after the cable is plugged in",
            "a box that gives addresses and is starting up itself, as after a meal break",
            "an answer that can't be seen from here: only the missing next step of the device counts",
            "a device that does get an offer but is itself at fault",
        ),
        seen=_no_answer_seen,
        sure={
            "certain": "this laptop itself asked and got no answer, or the device went on to make up an address",
            "likely": "it asked three times or more and never went on; offers to others can't be seen from here",
            "hint": "one device only, and no server was heard at all",
        },
        how="A device that gets an offer sends a request that names the server. Three questions over 12 s or more without "
        "such a request within the next 10 s mean that no usable offer came.",
        where="Mirror port and ordinary port: questions and requests go to every box. Wi-Fi: if the access point passes them on. "
        "Limited view: no.",
    ),
    "duplicate-address": Words(
        title=_duplicate_title,
        why="What is meant for one device reaches the other, now this one and now that one. Control jumps, and web pages belong "
        "to the wrong box.",
        steps=(
            ("Find out which two devices these are: compare the MACs above with the labels and the plan.", NOTHING),
            (
                "Take the one that is not planned for {address} off the network.",
                f"what it drives goes dark; when it is back, {CAUTION}",
            ),
            after_show("Give it a free address, then plug it in again.", f"it may restart; {CAUTION}"),
            ("Wait some minutes until the others have learned where {address} is now.", NOTHING),
            after_show(
                "If it is still not found, restart the device that keeps {address}.", f"what it drives goes dark; {CAUTION}"
            ),
        ),
        mistaken=(
            "two routers that share one address on purpose",
            "a box with two network sockets that takes turns between them",
            "a device that was replaced, or moved from wire to Wi-Fi: then the address changes its box once and stays",
            "a router or access point that answers for others",
        ),
        seen=_duplicate_seen,
        sure={
            "certain": "the two took turns within a minute, or one defended the address against the other",
            "likely": "two boxes used the address, and neither has left",
            "hint": "the address went from one box to another once: it may have been replaced",
        },
        how="Who has which address is said in ARP, which goes to every box. One address that comes from MAC A, then "
        "B, then A again "
        "within 60 s is used by two.",
        where="Mirror port: soon. Ordinary port: questions and announcements only, so it can take minutes. Wi-Fi: in part. "
        "Limited view: no.",
    ),
    "link-local-address": Words(
        title=_link_local_title,
        why="Such a device reaches only others with an address of the same kind. A controller with a normal address "
        "does not find it.",
        steps=(
            ("Is the whole rig meant to run on addresses that begin with 169.254? Then nothing is to be done.", NOTHING),
            ("If 'No DHCP server answers' stands here as well, begin there.", NOTHING),
            after_show("When the DHCP server answers, restart {who}.", f"what it drives is dark until it is back; {CAUTION}"),
            after_show("Or set the planned address on {who} by hand.", f"it may restart; {CAUTION}"),
        ),
        mistaken=(
            "a small rig that runs on such addresses on purpose",
            "a computer that keeps such an address beside its normal one for a while",
            "an address set by hand: 169.254.0.x and 169.254.255.x are never made up",
        ),
        seen=_link_local_seen,
        sure={
            "certain": "it uses this address and no other",
            "likely": "it uses this address; another one was heard a while ago",
            "hint": "the address was only announced",
        },
        how="Devices announce a made-up address to every box. One that uses only such an address for 60 s is listed; "
        "how bad it is "
        "depends on how many others do the same.",
        where="Mirror port, ordinary port, Wi-Fi: yes, announcements go to every box. Limited view: only if it sends light.",
    ),
}
