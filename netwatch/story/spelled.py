"""One packet as evidence: a sentence a field, its octets, the clause."""

from __future__ import annotations

from netwatch.decode.spelled import spell
from netwatch.story.snapshot import Said
from netwatch.words.phrases import start
from netwatch.words.spelled import sentence


def said(packet: bytes, link_type: int = 1) -> tuple[Said, ...]:
    """All fields that are read here, outermost first; link type 1 = Ethernet, 101 = IP."""
    out = []
    for field in spell(packet, link_type):
        text, clause = sentence(field.what, field.value)
        out.append(Said(start(text), field.at + 1, field.at + len(field.octets), field.octets, clause))
    return tuple(out)
