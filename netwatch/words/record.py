"""Words that stand in recordings: comments of slices and packets, and what is said of recording itself."""

from __future__ import annotations

from collections.abc import Sequence

from .phrases import listing, name, number

CUT_OLD = "Frames of light whose DMX channels did not change since the stream's last are cut behind the header."
CUT_ALL = "All levels are cut: only headers of light are kept."
CUT_PEOPLE = "Packets that are not of the lighting network are kept without their content."


def of_alert(alert: int, code: str) -> str:
    """What a slice or a packet is kept for."""
    return f"alert {alert} ({code})"


def of_mark(text: str) -> str:
    """The same of a mark."""
    return f"mark '{name(text, 'mark')}'"


def deciding(n: int, why: Sequence[str]) -> str:
    """Comment of a packet."""
    return f"netwatch: {listing(why, 6)} {'rests' if len(why) == 1 else 'rest'} on this; packet {number(n)} of the recording."


def cut(whole: bool, headers_only: bool) -> str:
    """What is left out, for a file's comment."""
    return " ".join([CUT_ALL if headers_only else "" if whole else CUT_OLD, CUT_PEOPLE]).strip()


def slice_of(why: Sequence[str], whole: bool, headers_only: bool) -> str:
    """A file's comment."""
    about = f"around {listing(why, 6)}" if why else "packets that alerts rest on, from before the slices"
    return f"netwatch slice: {about}. {cut(whole, headers_only)}"


def bundle(command: str, slices: Sequence[str]) -> str:
    """README.txt of a bundle."""
    replays = "\n".join(f"    {command} {each}" for each in slices) or "    (no alert at 'now' or 'soon', and no mark: no slice)"
    return f"""What is in here

    report.html     the report: open it in a browser
    slices/         packets around each alert and mark, as pcapng; a packet that an alert rests on bears a comment.
                    'older-packets' holds those from before the slices
    SHA256SUMS      proves that nothing was changed since: sha256sum -c SHA256SUMS

Each slice is replayed by itself:

{replays}

A slice holds a minute before and after, and from before it all but the levels (who was there, who asked for what). What an alert
took from levels of earlier is not in it, so a replay may find less, or find it later, than the report tells.

The slices hold addresses and names of devices as they were sent, also of people's own devices: pass them on with care.
"""
