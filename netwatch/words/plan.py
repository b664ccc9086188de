"""Words of the plan: what is told of a first one, what is checked, what is proposed."""

from __future__ import annotations

from collections.abc import Sequence

from .phrases import count, plain

FIRST = "Made from what was heard: add places and asset numbers, take out what does not belong to the rig."
NO_MASK = "No mask was heard: add [[subnet]] with network = \"10.0.0.0/16\" or what yours is."
ALONE = "From an ordinary port not all that boxes send and ask for is heard: add the universes that are missing."

NO_CONTRADICTION = "The plan does not contradict itself."
PROPOSED, NOT_PROPOSED = "PROPOSED", "COULD NOT BE PROPOSED"
COMPLETE = "Nothing is missing."
ASSUMED = "? = the plan does not tell the link's speed."


def head(file: str, name: str, boxes: int, universes: int, subnets: int) -> str:
    """What was read."""
    numbers = (count(boxes, "box", "boxes"), count(universes, "universe", "universes"), count(subnets, "subnet", "subnets"))
    return f"{plain(file)}: {plain(name) + ', ' if name else ''}{', '.join(numbers)}."


def contradicts(found: int) -> str:
    """The verdict where something is wrong."""
    return f"The plan contradicts itself in {count(found, 'point', 'points')}: put that right before a cable is pulled."


def load_head(hz: float) -> str:
    """Above the load."""
    return f"LOAD, WITH ALL UNIVERSES FULL AND {hz:g} FRAMES A SECOND"


def other_servers(server: str, others: Sequence[str]) -> str:
    """More than one hands out addresses."""
    return f"Not only {server} hands out addresses, but also {', '.join(others)}: name in [dhcp] the one that should."


def pool(server: str, given: Sequence[str]) -> str:
    """What is known of the range that a DHCP server gives out."""
    if not given:
        return f"The range that {server} gives out was not heard: add first and last to [dhcp]."
    return f"{server} was heard to give out {given[0]} to {given[-1]}; look its whole range up and add first and last to [dhcp]."
