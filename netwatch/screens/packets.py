"""One packet that an alert rests on: a sentence a field, its bytes, the clause."""

from __future__ import annotations

from collections.abc import Sequence

from netwatch.screens.looks import Look
from netwatch.screens.pages import Page, Part
from netwatch.story.snapshot import Said

GONE = "The bytes of this packet are no longer at hand. With --keep, or in a replay of the file, they are."
UNREAD = "A packet of a kind that is not read field by field here."
BYTES_SHOWN = 12


def packet_page(number: int, fields: Sequence[Said] | None, look: Look) -> Page:
    """``fields`` = what it says, None where its bytes are gone."""
    heading = ((f"Packet number {number:,}", look.strong),)
    if not fields:
        return Page(heading, (Part(GONE if fields is None else UNREAD, look.text),))
    parts = []
    for field in fields:
        shown = field.octets[:BYTES_SHOWN].hex(" ") + (" ..." if len(field.octets) > BYTES_SHOWN else "")
        parts.append(Part(field.text, look.strong))
        parts.append(Part(f"octets {field.first}-{field.last}: {shown}; {field.clause}", look.faint, indent=4))
    return Page(heading, tuple(parts))
