"""Words of the answers to what this laptop asked."""

from __future__ import annotations

from .phrases import count, number

HEADS = {"dhcp": "WHO GIVES ADDRESSES", "artnet": "ART-NET NODES", "arp": "WHO HAS THE ADDRESSES"}
SILENT = "No answer"
MERGES, PUTS_OUT, FOLLOWS, STILL = "merges", "puts out", "follows sACN", "nothing comes in"
NOT_PLANNED = "not in the plan"


def verdict(kind: str, answers: int, silent: int, strangers: int, rivals: int) -> str:
    """One sentence on all of them."""
    if kind == "dhcp":
        return _servers(answers, strangers)
    if kind == "artnet":
        if not answers:
            return "No node answered: look at subnet and mask, at cables, and whether the nodes are on."
        return f"{count(answers, 'node', 'nodes')} answered." + _strangers(strangers)
    of = f"{number(answers)} of {count(answers + silent, 'address', 'addresses')} answered."
    both = f" {count(rivals, 'address is', 'addresses are')} used by two boxes: give one of them another." if rivals else ""
    return of + both + _strangers(strangers)


def _servers(answers: int, strangers: int) -> str:
    if not answers:
        return "No DHCP server answered: boxes that wait for an address get none."
    if answers == 1:
        return "One DHCP server answered." + (" It is not the one of the plan." if strangers else "")
    which = " Not all of them are in the plan." if strangers else ""
    many = count(answers, "DHCP server", "DHCP servers")
    return f"{many} answered: boxes take whichever is faster.{which} Switch off all but one."


def _strangers(found: int) -> str:
    return f" {count(found, 'is', 'are')} not in the plan." if found else ""
