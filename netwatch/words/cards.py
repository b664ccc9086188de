"""Words of ``netwatch laptop``: interfaces, firewalls, and what was heard."""

from __future__ import annotations

from collections.abc import Sequence

from .laptop import KINDS, PROTOCOLS
from .phrases import count, listing, mbit, name, number, seconds, start, with_mask

HEAD = "This laptop, {system}, {when}"
NO_INTERFACE = "This laptop has no network interface that the system tells of."
NO_LINK = "No interface has a link: plug in a cable or join the Wi-Fi."
FINE = "Nothing wrong was found with this laptop, as far as its system tells."
WRONG = "WHAT IS WRONG WITH THIS LAPTOP, WORST FIRST"
NOT_LISTENED = "What is heard was not looked at: 'netwatch laptop --listen' does so, and sends nothing."
ON = "On {system}"
NOTHING_HEARD = "nothing of any other box"


def state(kind: str, up: bool | None, link: bool | None, speed: float | None, duplex: str) -> str:
    """'wired, link up, 1,000 Mbit/s, full duplex'."""
    shown = KINDS.get(kind, kind)
    if not up:
        return f"{shown}, switched off"
    if not link:
        return f"{shown}, no link"
    rate = mbit(speed / 1e6) if speed else ""
    halves = f"{duplex} duplex" if duplex in ("full", "half") and speed else ""
    return ", ".join(part for part in (shown, "link up", rate, halves) if part)


def air(network: str, band: str, channel: int | None, dbm: int | None, share: float | None, rate: float | None, cell: str) -> str:
    """'Wi-Fi network hollowbrook, 5 GHz, channel 36, signal -56 dBm, 433 Mbit/s, access point 02:...'."""
    signal = f"signal {dbm} dBm" if dbm is not None else f"signal {share * 100:.0f} %" if share is not None else ""
    parts = (
        f"Wi-Fi network {name(network, '')}" if network else "Wi-Fi", band, f"channel {channel}" if channel is not None else "",
        signal, mbit(rate / 1e6) if rate else "", f"access point {cell}" if cell else "",
    )  # fmt: skip
    return ", ".join(part for part in parts if part)


def address(text: str, dhcp: bool | None) -> str:
    """'10.0.0.5, mask 255.255.0.0 (/16), by DHCP'."""
    how = {True: ", by DHCP", False: ", set by hand as far as the system tells"}.get(dhcp, "") if dhcp is not None else ""
    return with_mask(text) + how


def gateway(text: str) -> str:
    """'gateway 10.0.0.1'."""
    return f"gateway {text}" if text else "no gateway"


def maker(mac: str, vendor: str) -> str:
    """'MAC 00:11:22:33:44:55 (maker)'."""
    return f"MAC {mac}{f' ({vendor})' if vendor else ''}" if mac else ""


def part(master: str) -> str:
    """'part of br0'."""
    return f"part of {master}, which has the address" if master else ""


def takes(networks: Sequence[str]) -> str:
    """'takes 10.0.0.0/8 and everything else'."""
    shown = ["everything that has no other way" if each == "0.0.0.0/0" else each for each in networks]
    return f"takes {listing(shown, 4)}" if shown else ""


def firewall(shown: str, on: bool | None, blocked: Sequence[int], free: Sequence[int], *, by_program: bool) -> str:
    """'Firewall (nftables) is on: it keeps out sACN and lets in Art-Net'."""
    if on is False:
        return f"No firewall rule is in the way ({shown})."
    out, into = (listing([PROTOCOLS[each] for each in ports if each in PROTOCOLS]) for ports in (blocked, free))
    told = [f"it keeps out {out}" if out else "", f"it lets in {into}" if into else ""]
    if by_program:
        told.append("it lets programs in one by one")
    known = " and ".join(each for each in told if each) or "what it keeps out is told to an administrator alone (sudo)"
    return f"A firewall ({shown}) is on: {known}."


def heard(time: float, parts: Sequence[str]) -> str:
    """'Heard in 10 s: 412 packets of light, 5 boxes'."""
    return f"Heard in {seconds(time)}: {listing(parts, 8) or NOTHING_HEARD}."


def light(packets: int, universes: str) -> str:
    """'412 packets of universes 1-4'."""
    return f"{count(packets, 'packet', 'packets')} of {universes}"


def boxes(number_: int) -> str:
    return count(number_, "other box", "other boxes")


def servers(addresses: Sequence[str]) -> str:
    return f"{'a DHCP server' if len(addresses) == 1 else 'DHCP servers'} ({listing(addresses)})"


def queriers(addresses: Sequence[str]) -> str:
    return f"{listing(addresses)} {'keeps' if len(addresses) == 1 else 'keep'} multicast alive"


def rest(packets: int) -> str:
    return f"{number(packets)} packets in all"


def found(wrong: int) -> str:
    """'2 things are wrong'."""
    return start(count(wrong, "thing is wrong", "things are wrong"))
