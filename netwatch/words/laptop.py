"""Words of the alerts about the laptop itself."""

from __future__ import annotations

from .base import NOTHING, Clock, Words, said
from .phrases import Facts, count, name, number, seconds


def _dropping_title(facts: Facts) -> str:
    missed, where = facts.get("dropped"), name(facts.get("interface"), "")
    packets = count(missed, "packet", "packets") if missed is not None else "packets"
    return f"The recording missed {packets}{f' on {where}' if where else ''}: do not trust losses shown here"


def _dropping_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    missed, span = facts.get("dropped"), facts.get("seconds")
    if missed is None:
        return ("The system says that it threw packets away before they were recorded.",)
    within = f" within {seconds(span)}" if span is not None else ""
    return said(f"The system threw away {number(missed)} packets{within} before they were recorded.")


LAPTOP: dict[str, Words] = {
    "capture-dropping": Words(
        title=_dropping_title,
        why="What the laptop missed looks like loss on the network. Losses and short silences are not judged meanwhile.",
        steps=(
            ("Close other programs and plug in the power supply.", NOTHING),
            ("Use the built-in network socket, or an adapter on a fast (USB 3) socket.", "only the view of this laptop"),
            ("Take a port with less traffic, or mirror fewer ports.", "only the view of this laptop"),
        ),
        mistaken=(
            "a network that really loses packets for everybody: then the system's own count stays at zero",
            "counts that were there before the recording began",
        ),
        seen=_dropping_seen,
        sure={
            "certain": "the system counted them",
            "likely": "unrelated senders lost packets at the same instants",
            "hint": "some senders lost packets at the same instants",
        },
        how="The system's count of packets thrown away rises, or three or more unrelated senders lose within the same 20 ms.",
        where="From the laptop itself, or from the counts that a capture file carries.",
    ),
}
