"""Words of ``netwatch compare``: what differs between two sessions, A and B, a sentence each."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from .phrases import Facts, count, listing, plain, seconds, share, start, universes

A, B = "A", "B"
NOTHING = "Nothing differs: boxes, addresses, DHCP servers, queriers, sources, priorities and rates are alike in A and B."
NO_PACKETS = "there are no packets in {name}, so there is nothing to compare; check that the recording ran."
UNSURE = {A: "perhaps it was only not heard in A", B: "perhaps it is only not heard in B"}


def head(found: int) -> str:
    """'3 differences, worst first.'."""
    return f"{count(found, 'difference', 'differences')} of B against A, worst first."


def side(letter: str, name: str, span: str, places: Sequence[str], packets: str) -> str:
    """What A or B is."""
    return f"{letter} is {plain(name)}: {span}, {packets}, heard on {listing([plain(each) for each in places], 3) or 'no port'}."


def places_differ(a: str, b: str) -> str:
    """Why silence in one of them says little."""
    return f"A was heard on {a}, B on {b}: what is missing on the poorer of the two may only not be heard there."


def too_short(letter: str, lasts: float) -> str:
    """Boxes that speak rarely are not in it."""
    return f"{letter} lasts only {seconds(lasts)}: a box that speaks rarely may not be in it."


def not_whole(letter: str, why: str) -> str:
    """Packets or ends are missing."""
    return f"{letter} is not whole: {why}."


NO_COMMON_BOX = "No box stands in both A and B: perhaps they are not of the same rig."


def more(left: int) -> str:
    """Behind the last that is told."""
    return f"and {count(left, 'more', 'more')}; --json has them all."


def sentence(what: str, facts: Facts) -> str:
    """One difference."""
    told = _TOLD[what](facts)
    unsure = UNSURE.get(str(facts.get("unsure")))
    return f"{start(told)}{f'; {unsure}' if unsure else ''}."


# ---- boxes ----


def _missing(f: Facts) -> str:
    return f"{f['who']} is in A only"


def _new(f: Facts) -> str:
    return f"{f['who']} is in B only"


def _moved(f: Facts) -> str:
    return f"{f['who']} had the address {listing(f['before'])} in A and has {listing(f['after'])} in B"


def _changed(f: Facts) -> str:
    return f"{f['who']} has another network card: MAC {f['before']} in A, {f['after']} in B; perhaps the box was changed"


def _name(f: Facts) -> str:
    return f"{f['who']} called itself {listing(f['before'])} in A and {listing(f['after'])} in B"


def _firmware(f: Facts) -> str:
    return f"{f['who']} told firmware {f['before']} in A and {f['after']} in B"


def _outputs(f: Facts) -> str:
    parts = [f"{word} {universes(f[key], 'artnet')}" for word, key in (("puts out", "more"), ("no longer", "less")) if f[key]]
    return f"{f['who']} {' and '.join(parts)} in B"


def _asks(f: Facts) -> str:
    parts = [f"{word} {universes(f[key])}" for word, key in (("asks for", "more"), ("no longer for", "less")) if f[key]]
    text = " and ".join(parts).removeprefix("no longer for")
    return f"{f['who']} {text if f['more'] else 'no longer asks for' + text} in B"


def _people(f: Facts) -> str:
    return f"of people's own devices (phones, laptops) {f['before']} were in A and {f['after']} are in B"


# ---- who gives addresses, who keeps multicast alive ----


def _server_new(f: Facts) -> str:
    others = listing(f["others"])
    beside = f", beside {others}" if others else ""
    return f"another DHCP server in B: {f['who']} hands out addresses{beside}"


def _server_missing(f: Facts) -> str:
    return f"the DHCP server {f['who']} of A is not heard in B"


def _server_changed(f: Facts) -> str:
    return f"the DHCP server {f['who']} is another box: MAC {f['before']} in A, {f['after']} in B"


def _querier_new(f: Facts) -> str:
    beside = f", beside {listing(f['others'])}" if f["others"] else ""
    return f"{f['who']} keeps multicast alive in B (it is the IGMP querier){beside}, and did not in A"


def _querier_missing(f: Facts) -> str:
    left = f"; {listing(f['others'])} does" if f["others"] else "; nobody does, so light that was asked for may go dark"
    return f"{f['who']} kept multicast alive in A (IGMP querier) and does not in B{left}"


def _interval(f: Facts) -> str:
    return f"the querier {f['who']} asked every {seconds(f['before'])} in A and asks every {seconds(f['after'])} in B"


def _version(f: Facts) -> str:
    return f"the querier {f['who']} asked with IGMPv{f['before']} in A and asks with IGMPv{f['after']} in B"


# ---- light ----


def _light(f: Facts) -> str:
    return universes(f["universes"], f["protocol"])


def _source_missing(f: Facts) -> str:
    instead = listing(f["instead"])
    then = f"; {instead} sends that in B" if instead else ""
    return f"{f['who']} sent {_light(f)} in A and sends nothing in B{then}"


def _source_new(f: Facts) -> str:
    return f"{f['who']} sends {_light(f)} in B and was not in A{_beside(f)}"


def _beside(f: Facts) -> str:
    if not f["rivals"]:
        return ""
    how = "at the same priority" if f["equal"] else "at another priority"
    return f"; {listing(f['rivals'])} sends {universes(f['shared'], f['protocol'])} too, {how}"


def _universes_missing(f: Facts) -> str:
    instead = listing(f["instead"])
    return f"{f['who']} no longer sends {_light(f)} in B{f'; {instead} does' if instead else ''}"


def _universes_new(f: Facts) -> str:
    return f"{f['who']} sends {_light(f)} in B, which it did not in A{_beside(f)}"


def _identity(f: Facts) -> str:
    return f"{f['who']} sends under another identity (CID) in B; perhaps another machine with the same show file"


def _priority(f: Facts) -> str:
    rivals = f"; {listing(f['rivals'])} sends there too" if f["rivals"] else ""
    return f"{f['who']} sends {_light(f)} at priority {f['after']} in B, at {f['before']} in A{rivals}"


def _rate(f: Facts) -> str:
    return (f"{f['who']} sends {_light(f)} with up to {f['after']:.0f} packets a second in B, up to {f['before']:.0f} in A "
            "(light that stands still is sent rarely: that alone is no fault)")


def _loss(f: Facts) -> str:
    return f"of {_light(f)} from {f['who']} {share(f['after'])} gets lost in B, {share(f['before'])} in A"


_TOLD: dict[str, Callable[[Facts], str]] = {
    "box-missing": _missing, "box-new": _new, "box-moved": _moved, "box-changed": _changed, "box-name": _name,
    "firmware": _firmware, "outputs": _outputs, "asks": _asks, "people": _people, "server-new": _server_new,
    "server-missing": _server_missing, "server-changed": _server_changed, "querier-new": _querier_new,
    "querier-missing": _querier_missing, "querier-interval": _interval, "querier-version": _version,
    "source-missing": _source_missing, "source-new": _source_new, "universes-missing": _universes_missing,
    "universes-new": _universes_new, "identity": _identity, "priority": _priority, "rate": _rate, "loss": _loss,
}  # fmt: skip
KINDS = tuple(_TOLD)
