"""What this laptop asked on request and what was answered, as a snapshot holds it. Times in ns."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Answer:
    """One box's answer; what does not belong to the question stays empty."""

    address: str
    mac: str
    maker: str
    name: str
    """By the plan, else by its own word."""
    planned: bool | None
    """None = there is no plan, or it says nothing of such."""
    offered: str = ""
    """Of DHCP: the address that it would give."""
    mask: str = ""
    router: str = ""
    lease: int | None = None
    """s."""
    outputs: tuple[int, ...] = ()
    """Of Art-Net: Port-Addresses, and which of them put out, merge, or follow sACN by the node's own word."""
    fed: tuple[int, ...] = ()
    merging: tuple[int, ...] = ()
    follows_e131: tuple[int, ...] = ()
    rivals: tuple[str, ...] = ()
    """Of ARP: MACs of further boxes that answered for the same address."""


@dataclass(frozen=True, slots=True)
class AskedView:
    """One question."""

    kind: str
    """dhcp, artnet or arp."""
    at: int
    until: int
    interface: str
    answers: tuple[Answer, ...]
    silent: tuple[tuple[str, str], ...]
    """Of ARP: (address, its name by the plan) of those that nobody answered for."""
