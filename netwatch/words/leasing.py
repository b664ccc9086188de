"""Words of the alerts about leases: pools, offers, silent servers, moved and declined addresses."""

from __future__ import annotations

from .base import CAUTION, NOTHING, Clock, Words, after_show, said
from .phrases import Facts, count, name, names, number, seconds, share

_BY_RESTART = f"what a device drives is dark until it is back, up to a minute; {CAUTION}"
_CERTAIN_FROM_ALL = "Mirror port and ordinary port: these messages go to every box. Wi-Fi: if the access point passes them on. "


def _pool_title(facts: Facts) -> str:
    return f"The DHCP server has no address for {names(facts.get('clients'), 2) or 'some devices'}"


def _pool_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    clients, served, given, full = facts.get("clients") or (), facts.get("served"), facts.get("given"), facts.get("share")
    return said(
        f"Asked again and again and got nothing: {names(clients, 12)}." if clients else None,
        f"{count(served, 'other device', 'other devices')} got an address meanwhile." if served else None,
        f"{count(given, 'address', 'addresses')} were given out" + (f", {share(full)} of the range." if full is not None else ".")
        if given else None,
    )  # fmt: skip


_OFFER_TITLES = {
    "mask": "gives out a mask that no device can use",
    "address": "gives out an address that no device can have",
    "router": "gives out a gateway outside its own network",
    "against-plan": "gives out another mask than planned",
    "masks-differ": "gives out another mask than the other DHCP server",
    "gateway": "names a gateway that does not answer",
}


def _offer_title(facts: Facts) -> str:
    what = _OFFER_TITLES.get(facts.get("what") or "", "gives out settings that do not work")
    return f"{name(facts.get('server'), 'A DHCP server')} {what}"


def _offer_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    address, netmask, router, right = (facts.get(key) for key in ("address", "mask", "router", "right"))
    return said(
        f"It gave the address {name(address, '')} with the mask {name(netmask, 'unknown')}." if address else None,
        f"The gateway it names is {name(router, '')}." if router else None,
        f"Right would be {name(right, '')}." if right else None,
        f"{name(facts.get('who'), 'A device')} asks for it again and again, and no box was heard to have that address."
        if facts.get("what") == "gateway" else None,
    )  # fmt: skip


def _silent_title(facts: Facts) -> str:
    server, clients = name(facts.get("server"), ""), facts.get("clients") or ()
    if len(clients) == 1:
        loses = f"{names(clients, 1)} is about to lose its address"
    else:
        loses = f"{number(len(clients)) + ' ' if clients else ''}devices are about to lose their addresses"
    return f"DHCP server{' ' + server if server else ''} is silent: {loses}"


def _silent_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    clients, tries, ends = facts.get("clients") or (), facts.get("tries"), facts.get("falls_silent_at")
    times = f", {count(tries, 'time', 'times')} so far" if tries else ""
    return said(
        f"{names(clients, 12) or 'A device'} asked any server at all to prolong its lease{times}.",
        "It does so only when its own server has not answered since half of the lease.",
        f"At about {clock(ends)} the first of them must give its address up." if ends else
        "When the lease ends is not known: its length was not heard.",
    )  # fmt: skip


def _moved_title(facts: Facts) -> str:
    old, new = name(facts.get("old"), ""), name(facts.get("address"), "another address")
    return f"{name(facts.get('who'), 'A device')} moved {f'from {old} ' if old else ''}to {new}"


def _moved_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    wanted, planned = facts.get("wanted_by"), facts.get("planned")
    return said(
        f"It used {name(facts.get('old'), 'another address')} before, and that address is quiet since.",
        f"Still asking for the old address: {names(wanted, 8)}." if wanted else None,
        f"The plan says {name(planned, '')}." if planned else None,
    )


def _declined_title(facts: Facts) -> str:
    return f"{name(facts.get('address'), 'An address')} was given out, but another device has it already"


def _declined_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    clients, server, holder, loops = (facts.get(key) for key in ("clients", "server", "holder", "loops"))
    return said(
        f"Refused by {names(clients, 8)}." if clients else None,
        f"Given out by {name(server, '')}." if server else None,
        f"Used by {name(holder, '')}." if holder else "Who uses it was not heard.",
        f"One device refused {number(loops)} times within minutes." if loops and loops > 1 else None,
    )


def _fixed_title(facts: Facts) -> str:
    who, address = name(facts.get("who"), "A device"), name(facts.get("address"), "an address")
    return f"{who} uses {address}, which the DHCP server may give to others"


def _fixed_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    first, last, span = facts.get("first"), facts.get("last"), facts.get("seconds")
    source = "By the plan" if facts.get("by_plan") else "As far as was heard"
    return said(
        f"{source} the server gives out {name(first, '')} to {name(last, '')}." if first and last else None,
        f"For {seconds(span)} it was not heard asking for an address: it is probably set by hand." if span is not None else None,
    )


LEASING: dict[str, Words] = {
    "dhcp-pool-used-up": Words(
        title=_pool_title,
        why="The devices that come last get no address, and the controller does not find them. Who fails changes with the "
        "order of "
        "switching on.",
        steps=(
            ("Look into the server: how many addresses are free, and who has the others?", NOTHING),
            ("Keep phones and tablets off the network of the show.", "those phones and tablets only"),
            ("Give the server more addresses, or strangers a shorter lease.", "nothing, unless the server restarts for it"),
            after_show("Give controllers and nodes fixed addresses outside of what the server gives out.",
             f"many devices restart when their address is changed; {CAUTION}"),
        ),
        mistaken=(
            "a server that serves only devices it knows",
            "a switch that lets only known devices in",
            "devices in another VLAN than the server: then 'No DHCP server answers' would be right",
        ),
        seen=_pool_seen,
        sure={
            "certain": "the server's own pages say so; from outside it can't be certain",
            "likely": "some devices fail while others are served, and nearly all addresses are given out",
            "hint": "some devices fail while others are served",
        },
        how="Two devices or more ask three times over 12 s or more and never accept an address, while another one does, "
        "within half an hour.",
        where=_CERTAIN_FROM_ALL + "How full the range is shows in part only. Limited view: no.",
    ),
    "dhcp-offer-wrong": Words(
        title=_offer_title,
        why="A device with such settings reaches some boxes and not others, or waits long for a gateway that is not there.",
        steps=(
            ("Compare what the server gives out with the plan: range, mask, gateway.", NOTHING),
            ("Put it right in the server.", "nothing, unless the server restarts for it"),
            after_show("Restart the devices that have the wrong settings, one after the other.", _BY_RESTART),
        ),
        mistaken=(
            "a network without a gateway on purpose: then none is given, and nothing is told here",
            "a gateway that is only switched off at the moment",
        ),
        seen=_offer_seen,
        sure={
            "certain": "the server's own message says it",
            "likely": "a device asks at least 5 times a minute for the gateway, and nobody was heard with that address",
            "hint": "a single sign of it",
        },
        how="In each offer and confirmation, address and gateway must lie in one network under the mask, the mask must be "
        "one block of "
        "ones, and the address must not be the first or last of its network.",
        where="Mirror port: yes. Ordinary port and Wi-Fi: only answers to devices that ask for them to go to all. Limited "
        "view: no.",
    ),
    "lease-server-silent": Words(
        title=_silent_title,
        why="When the lease ends, the device must give its address up. It then disappears, and may come back with another "
        "address.",
        steps=(
            ("Is the box that gives addresses on, and does its network socket show a link?", NOTHING),
            ("Do not restart any device until it is back: a device that restarts loses its address at once.", NOTHING),
            ("Bring the box that gives addresses back.", "devices keep their addresses meanwhile"),
            after_show("After the show make leases longer than the production, or give fixed addresses.",
             f"many devices restart when their address is changed; {CAUTION}"),
        ),
        mistaken=(
            "a device that was restarted: it asks for the address it had, in another way",
            "a device that slept through half of its lease, and was answered at once",
            "a server that answered straight to the device: that is not seen from an ordinary port; no further question shows it",
        ),
        seen=_silent_seen,
        sure={
            "certain": "the device's own message says it",
            "likely": "the device asked again after a while",
            "hint": "an old sign of it",
        },
        how="Up to seven eighths of its lease a device asks only its own server to prolong it, which nobody else hears. "
        "Then it asks "
        "any server, and that goes to every box. Twice, 60 s or more apart, means that no other server has answered either.",
        where=_CERTAIN_FROM_ALL + "How long the lease is shows on a mirror port, elsewhere in part. Limited view: no.",
    ),
    "address-moved": Words(
        title=_moved_title,
        why="Who sends to the old address, such as a controller set to it by hand, no longer reaches the device.",
        steps=(
            ("Was the address changed on purpose? Then note it in the plan.", NOTHING),
            ("Look in the controller whether it still sends to the old address.", NOTHING),
            ("Set the controller to {address}.", f"the device follows again at once; {CAUTION}"),
            after_show("Or give {who} its old address again: fixed, or kept for it in the DHCP server.",
                       f"it may restart; {CAUTION}"),
        ),
        mistaken=(
            "a change by hand, on purpose",
            "a box with two addresses that uses them in turn: then the old one is not quiet",
            "a box that first made up an address (169.254.x.y) and then got a real one: not told here",
        ),
        seen=_moved_seen,
        sure={
            "certain": "the same MAC uses a new address, and the old one is quiet for a minute or more",
            "likely": "the same name, another MAC",
            "hint": "a single sign of it",
        },
        how="One MAC uses another address than before for 60 s or more, and nobody uses the old one.",
        where="Mirror port and ordinary port: yes, what boxes ask goes to all. That others still send to the old address "
        "shows by "
        "their questions for it. Limited view: no.",
    ),
    "address-declined": Words(
        title=_declined_title,
        why="Two devices would have one address. The refusing one goes without until the server gives it another, "
        "which may take minutes.",
        steps=(
            ("Find out who uses {address}: compare the MAC with labels and plan.", NOTHING),
            ("Set aside {address} in the DHCP server, or shrink what it gives out.", "nothing, unless the server restarts "
            "for it"),
            after_show("Or give the device that has {address} by hand another address outside of the range.",
                       f"it may restart; {CAUTION}"),
            after_show("Restart the device that refused.", _BY_RESTART),
        ),
        mistaken=(
            "a device that still answers for an address it had in another lease",
            "a router that answers for others",
        ),
        seen=_declined_seen,
        sure={
            "certain": "the device's own message says it",
            "likely": "the address was refused and is in use",
            "hint": "an old sign of it",
        },
        how="A device checks an address before it uses it. If somebody answers, it tells all that it refuses (a DHCP decline).",
        where=_CERTAIN_FROM_ALL + "Limited view: no.",
    ),
    "fixed-address-in-pool": Words(
        title=_fixed_title,
        why="It works until the server gives this address to a second device. Then both are reached now and then.",
        steps=(
            ("Look on the device whether its address is set by hand.", NOTHING),
            ("Keep {address} out of what the server gives out, or reserve it there for this device.",
             "nothing, unless the server restarts for it"),
            after_show("Or give {who} a fixed address outside of the range.", f"it may restart; {CAUTION}"),
            ("Mark it in the plan.", NOTHING),
        ),
        mistaken=(
            "a device that got its address before this tool listened, and renews it unheard",
            "an address that the server keeps for this very device",
            "a server whose range has gaps: only the lowest and highest address were heard",
        ),
        seen=_fixed_seen,
        sure={
            "certain": "the plan says which addresses the server gives out",
            "likely": "the plan says which addresses the server gives out; renewals can't be heard from here",
            "hint": "only the lowest and highest address given out are known",
        },
        how="An address lies between the lowest and highest of three or more that a server gave out, and its box was not "
        "heard asking "
        "for one during a whole lease, or a day where the lease is not known.",
        where="Mirror port: renewals are heard too. Ordinary port and Wi-Fi: they are not, so it takes a day. Limited view: no.",
    ),
}  # fmt: skip
