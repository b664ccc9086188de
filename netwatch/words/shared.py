"""Words for severities, certainties, places to listen and the states of a check."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Shown:
    """How one value looks: a mark of one or two characters, a word, and what it means."""

    mark: str
    word: str
    meaning: str


SEVERITY: Mapping[str, Shown] = {
    "now": Shown("!!", "NOW", "the show stops or is about to"),
    "soon": Shown("!", "SOON", "will fail later, within the hour or at the next restart"),
    "quality": Shown("~", "QUALITY", "light arrives, but not well"),
    "tidy": Shown("-", "TIDY", "put it in order when there is time"),
    "note": Shown(".", "NOTE", "happened; nothing to do"),
}
"""Worst first."""

CERTAINTY: Mapping[str, Shown] = {
    "certain": Shown("", "Certain", "the packets prove it"),
    "likely": Shown("", "Likely", "it fits, and little else would"),
    "hint": Shown("", "Perhaps", "worth a look, no more"),
}
"""Surest first."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where the laptop listens."""

    name: str
    shows: str
    hides: str


VANTAGE: Mapping[str, Place] = {
    "mirror": Place(
        "a mirror port",
        "a copy of what other boxes send, answers to each other included",
        "what the switch then holds back; a mirror shows what goes in, not what comes out elsewhere",
    ),
    "ordinary": Place(
        "an ordinary port",
        "what goes to every box, and the light that this laptop asked for",
        "answers to other boxes (such as DHCP offers), and light that this laptop did not ask for",
    ),
    "wifi": Place(
        "Wi-Fi",
        "what the access point passes on to this laptop",
        "what happens on the wires; packets also get lost in the air",
    ),
    "limited": Place(
        "a limited view without capture rights",
        "light that reaches this laptop",
        "DHCP, ARP and multicast requests of other boxes",
    ),
    "unknown": Place(
        "a port of unknown kind",
        "only what was heard so far",
        "perhaps answers to other boxes, and light that this laptop did not ask for",
    ),
}

CHECK: Mapping[str, Shown] = {
    "FINE": Shown("+", "FINE", "looked, and nothing is wrong"),
    "WRONG": Shown("!", "WRONG", "see the alert"),
    "NOT YET": Shown("?", "NOT YET", "not heard for long enough to say"),
    "NOT FROM HERE": Shown("?", "NOT FROM HERE", "can't be seen from where the laptop listens"),
    "NOT USED HERE": Shown(" ", "NOT USED HERE", "nothing of this kind is on the network"),
}

PROTOCOL: Mapping[str, str] = {"e131": "sACN", "artnet": "Art-Net"}
