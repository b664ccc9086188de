"""Words of the alerts about cables and switches."""

from __future__ import annotations

from .base import CAUTION, NOTHING, Clock, Words, light, said
from .phrases import Facts, count, listing, mbit, name, names, number, ranges, seconds, share, universes


def _loop_title(facts: Facts) -> str:
    pps = facts.get("pps")
    rate = f": {number(pps)} copies a second" if pps else ""
    return f"A loop: the same packets go round and round{rate}"


def _loop_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    frames, pps, senders = facts.get("frames"), facts.get("pps"), names(facts.get("senders"), 4)
    return said(
        f"{count(frames, 'packet', 'packets')} came again and again within a quarter of a second." if frames else None,
        f"Copies: {number(pps)} a second." if pps else None,
        f"They were first sent by {senders}." if senders else None,
        "Packets that this laptop sent came back to it." if facts.get("ours") else None,
    )


def _storm_title(facts: Facts) -> str:
    who, pps = name(facts.get("who"), "One box"), facts.get("pps")
    rate = f"{number(pps)} packets a second" if pps else "packets without end"
    return f"{who} sends {rate} to everybody"


def _storm_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    mac, maker = facts.get("mac"), facts.get("maker")
    box = f"Its network card: {name(mac, '')}" if mac else None
    return said(
        (f"{box}, made by {name(maker, '')}." if maker else f"{box}.") if box else None,
        "Most of it is light: one universe, sent far too often." if facts.get("light") else None,
    )


def _port(facts: Facts) -> str:
    return name(facts.get("interface"), "this laptop's port")


def _full_title(facts: Facts) -> str:
    link, load = facts.get("link_mbit"), facts.get("mbit")
    if load is None:
        slow = f"runs at {mbit(link)}" if link is not None else "is slow"
        return f"The link of {_port(facts)} {'passes one way at a time only' if facts.get('half') else slow}"
    part = facts.get("share")
    full = f"{share(part)} full" if part is not None else "nearly full"
    return f"The link of {_port(facts)} is {full}" + (f": {mbit(load)} of {mbit(link)}" if link is not None else "")


def _full_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    to_all, link = facts.get("everybody_mbit"), facts.get("link_mbit")
    return said(
        f"{mbit(to_all)} of it goes to every box, whether it wants it or not." if to_all else None,
        "This mirror port adds up what many ports carry. Perhaps only its view suffers." if facts.get("mirror") else None,
        f"The system says: {mbit(link)}{', half duplex' if facts.get('half') else ''}." if link is not None else None,
    )


def _jitter_title(facts: Facts) -> str:
    off, what = facts.get("ms"), light(facts) or "light"
    return f"Packets of {what} come unevenly" + (f": up to {off:.0f} ms early or late" if off is not None else "")


def _jitter_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    off, hz = facts.get("ms"), facts.get("hz")
    return said(
        f"{name(facts.get('who'), 'Its sender')} sends {hz:.0f} packets a second; 1 gap in 20 is off by more than {off:.0f} ms."
        if off is not None and hz is not None else None,
        "Packets of other boxes came evenly meanwhile.",
    )  # fmt: skip


def _flap_title(facts: Facts) -> str:
    times, span = facts.get("times"), facts.get("seconds")
    often = f"{number(times)} times" + (f" in {seconds(span)}" if span else "") if times else "again and again"
    if facts.get("what") == "own":
        return f"The link of {_port(facts)} was lost {often}"
    if facts.get("what") == "tree":
        return f"Somewhere a link between switches comes and goes: {often}"
    return f"{name(facts.get('who'), 'A box')} loses its link or starts anew: {often}"


def _flap_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    sends = universes(facts.get("universes"), None, 6)
    signs = {
        "box": "Each time it asked for an address as boxes do when they get a link.",
        "tree": "Switches told of a change in the network's tree each time, and no new box was heard.",
    }
    sleeps = "The switch says that this port may save power (Energy Efficient Ethernet); some cards lose their link by that."
    return said(
        signs.get(str(facts.get("what"))), f"It sends {sends}." if sends else None, sleeps if facts.get("saves_power") else None
    )


def _wait_title(facts: Facts) -> str:
    span = facts.get("seconds")
    if facts.get("waits"):
        return f"The switch lets nobody through yet: {_port(facts)} was plugged in just now"
    return f"The switch let nobody through for {seconds(span) if span is not None else '30 s'} after the link came up"


def _wait_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    frames = facts.get("bpdus")
    return said(
        f"Meanwhile only frames of the switch's spanning tree came: {number(frames)}." if frames is not None else None,
        "It may take 30 s, or 50 s, from the plug on." if facts.get("waits") else None,
    )


def _trunk_title(facts: Facts) -> str:
    vlan, planned, vlans = facts.get("vlan"), facts.get("planned"), facts.get("vlans")
    if vlan is not None:
        return f"This port is in VLAN {vlan}; the plan wants {listing([str(each) for each in planned or ()], 3) or 'another'}"
    port = name(facts.get("interface"), "The port of this laptop")
    return f"{port} gets several VLANs at once" + (f": {ranges(vlans, 4)}" if vlans else "")


def _trunk_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    vlans = facts.get("vlans")
    return said(
        f"Frames with the tags of VLAN {ranges(vlans, 8)} came within a minute." if vlans else None,
        "A mirror of such a port shows the tags, which is no fault." if facts.get("mirror") else None,
        "The switch says so itself (LLDP)." if facts.get("vlan") is not None else None,
    )


LINKS: dict[str, Words] = {
    "loop": Words(
        title=_loop_title,
        why="Each packet for everybody goes round for ever and fills every cable. Within seconds controllers and nodes stand "
        "still, and so do pages and polls.",
        steps=(
            ("Think: which cable was plugged in last? Look for a patch cable with both ends in one switch, or a second cable "
             "between two switches.", NOTHING),
            ("Pull that cable. The lights of all ports stop blinking in step.",
             f"boxes that hang on it alone are cut off; all others get light again; {CAUTION}"),
            ("Nobody knows which? Pull the cables between switches, one after the other, until it is calm.",
             f"what is behind each cable goes dark; {CAUTION}"),
            ("After the show, switch on spanning tree or loop protection in the switches.",
             "ports may pass nothing for 30 s; light stops meanwhile"),
        ),
        mistaken=(
            "a mirror port that copies several ports: all copies of a packet come at the same moment",
            "a controller that does not count its packets, so that standing light looks the same each time",
            "one box that repeats itself without end (a storm)",
        ),
        seen=_loop_seen,
        sure={
            "certain": "our own packets came back, or counted packets came again 100 times a second, or those of several boxes",
            "likely": "the same packets come again and again, and nothing else explains it",
            "hint": "few copies were heard",
        },
        how="In a quarter of a second, packets to everybody come again at least 25 times, over more than 10 ms; or flows of "
        "light bring 16 copies with several numbers; or three packets of this laptop come back within a second.",
        where="Wherever this laptop listens: a loop reaches every port.",
    ),
    "storm": Words(
        title=_storm_title,
        why="Every box must look at every packet for everybody. Small nodes get slow at a thousand a second and stand still at "
        "ten thousand.",
        steps=(
            ("Find the box by its name, address or network card.", NOTHING),
            ("Is somebody searching the network with it on purpose? Then wait until the search is over.", NOTHING),
            ("Unplug {who}.", f"what it sends stops; {CAUTION}"),
            ("If packets go on without it, look for a loop.", NOTHING),
        ),
        mistaken=(
            "light of many universes at its usual rate, which is planned",
            "the first minute of a load-in, when many boxes ask at once",
            "a search through all addresses, also one of this laptop",
            "a loop in which one packet goes round",
        ),
        seen=_storm_seen,
        sure={
            "certain": "counted packet by packet, all from one network card",
            "likely": "counted; Wi-Fi may have added copies",
            "hint": "counted over a short time",
        },
        how="One box sends more than 1,000 packets a second to everybody for 5 s, or more than 10,000 for half a second. Light "
        "counts only where one universe alone is so fast.",
        where="Wherever this laptop listens with full rights: what goes to everybody comes here, too.",
    ),
    "bottleneck": Words(
        title=_full_title,
        why="A link that is nearly full throws bursts away: still looks are fine, and the big cue breaks up.",
        steps=(
            ("See what fills it: the list of streams, and who sends to everybody.", NOTHING),
            ("Leave universes that you do not need here.", "only the view of this laptop"),
            ("Plug the laptop into a gigabit port by a short cable, and let both sides choose the speed by themselves.",
             "only the view of this laptop"),
            ("Keep video and backups off this network, and put gigabit between switches.",
             f"links stop for some seconds; {CAUTION}"),
        ),
        mistaken=(
            "this laptop's own adapter, if it can't do better than 100 Mbit/s",
            "a receiver that is too slow, on a network that is not",
            "a mirror port that adds up what many ports carry",
        ),
        seen=_full_seen,
        sure={
            "certain": "counted here, and the system tells the speed of the link",
            "likely": "counted here",
            "hint": "counted over a short time",
        },
        how="All that came in 10 s, against the speed that the system tells: more than 70 % of it, or 90 %. A link under 1,000 "
        "Mbit/s, or half duplex, is told by itself.",
        where="Only for the link of this laptop: the speed of other links is not on the wire.",
    ),
    "jitter": Words(
        title=_jitter_title,
        why="Effects look uneven, and pixels tear, although nothing is lost.",
        steps=(
            ("See which senders are even: what differs on the way of this one?", NOTHING),
            ("Look at the load of the sender: other programs on it, many universes sent in one burst.", NOTHING),
            ("Keep video and backups off this network, and use gigabit up to the last switch.",
             f"links stop for some seconds; {CAUTION}"),
            ("If the sender can, let it spread its universes over the frame.", "movement may look a little different"),
        ),
        mistaken=(
            "time stamps of this laptop (USB adapters, power saving): then all senders look uneven",
            "a sender that leaves frames out while nothing changes: its gaps are whole multiples of a frame",
            "Wi-Fi on the way, or a virtual machine's clock",
        ),
        seen=_jitter_seen,
        sure={
            "certain": "another box's packets came evenly meanwhile, so that it is not this laptop",
            "likely": "another box's packets came evenly; the operating system's stamps are coarse",
            "hint": "few packets were heard",
        },
        how="Over 10 s, 5 % of a stream's gaps differ from its usual gap by more than 10 ms (worse: 20 ms), and the gaps do not "
        "have the few lengths that a frame clock makes, while another box's packets come evenly.",
        where="Wherever the light arrives, but for Wi-Fi. It tells of the sender and of the way to this laptop.",
    ),
    "link-flapping": Words(
        title=_flap_title,
        why="Each time light stops for 3 to 40 s: until the link is back, the switch lets the box speak, and it has asked for "
        "its universes again.",
        steps=(
            ("Look at the link's lights, and press the plugs in at both ends.", NOTHING),
            ("Is it without power each time? Look at its display, its power supply, and what the switch feeds (PoE).", NOTHING),
            ("Change the cable.", f"it goes dark meanwhile; {CAUTION}"),
            ("Take another port of the switch, and lock the plug.", f"it goes dark meanwhile; {CAUTION}"),
            ("If it is this laptop's link, switch power saving off (Energy Efficient Ethernet) on port and card.",
             "the link stops for some seconds"),
        ),
        mistaken=(
            "a box that is restarted on purpose, again and again, in the load-in",
            "a tablet that sleeps and wakes, or goes from one access point to another",
            "power saving on the link: the standard's wake-up takes 30 millionths of a second, which nobody sees",
        ),
        seen=_flap_seen,
        sure={
            "certain": "the system itself told of it",
            "likely": "it asked for its address anew each time; whether it restarted or lost its link can't be told from here",
            "hint": "on Wi-Fi boxes come and go by nature",
        },
        how="Three times in half an hour a box that was there begins anew to ask for an address (DHCP, or ARP probes), or this "
        "laptop's own link is lost; or spanning tree tells of four changes in 10 min without a new box.",
        where="Of other boxes wherever their questions to everybody are heard; of this laptop's own link always.",
    ),
    "spanning-tree-wait": Words(
        title=_wait_title,
        why="The switch first looks for loops. Whatever is plugged in, or loses its link, stays dark so long each time, and "
        "asks for addresses in vain.",
        steps=(
            ("Wait half a minute after each plug. Nothing is broken.", NOTHING),
            ("Ask who runs the switch to set ports for end devices to 'edge' (also called 'fast').",
             "the setting itself disturbs nothing"),
            ("Use rapid spanning tree (RSTP) in all switches, and no ring without a plan.",
             f"after the show: links stop for up to a minute; {CAUTION}"),
        ),
        mistaken=(
            "a box that starts slowly",
            "a DHCP server that does not answer",
            "a network on which nobody spoke for half a minute",
        ),
        seen=_wait_seen,
        sure={
            "certain": "the time fits, and the switch spoke its spanning tree all through it",
            "likely": "light came here before, and since the plug only the switch speaks",
            "hint": "little was heard",
        },
        how="After this laptop's link came up, only frames of spanning tree came; the first frame of any box came 28 to 35 s "
        "later (2 x 15 s), or 48 to 55 s. Where light came before the plug, it is told while it lasts.",
        where="Only at the laptop's own port, and only while it listens when the link comes up.",
    ),
    "trunk-port": Words(
        title=_trunk_title,
        why="A port for several VLANs shows other networks than a node's port does: what is true for this laptop need not be "
        "true for the nodes.",
        steps=(
            ("Take a port that is marked for the light's network.", NOTHING),
            ("Ask who runs the switch which VLAN is for light, and which ports are in it.", NOTHING),
            ("Let this port be an access port of that VLAN.", "only the view of this laptop"),
        ),
        mistaken=(
            "tags with VLAN 0, which give a priority and no VLAN",
            "a mirror of a trunk port, made on purpose",
            "one box that tags its frames by mistake",
            "tags that the operating system takes off, so that no VLAN is seen although there are some",
        ),
        seen=_trunk_seen,
        sure={
            "certain": "the tags are in the frames, or the switch says so",
            "likely": "the tags are in the frames",
            "hint": "few frames had a tag",
        },
        how="Frames of two or more VLANs (other than 0) come with tags within a minute; or LLDP names a VLAN that the "
        "plan does not have, where each subnet of the plan says its VLAN.",
        where="Ordinary port, mirror port: yes, where the system leaves the tags on. On Wi-Fi there are none.",
    ),
}
