"""The lines that stand above every view: where I listen, what was heard, what is not to be trusted, how many alerts."""

from __future__ import annotations

from collections import Counter

from rich.cells import cell_len
from rich.text import Text

from netwatch import words
from netwatch.screens.looks import MARKS, WORST_FIRST, Look
from netwatch.screens.words import PLACES, clock, count, safe, span
from netwatch.story.snapshot import Listening, Snapshot
from netwatch.story.standing import standing
from netwatch.words.record import GOES_ON

NAMELESS = "capture"
"""What a file's only interface is called where the file does not name it."""


def trust(snapshot: Snapshot, width: int, look: Look, time: str = "") -> list[Text]:
    """``time`` = what is to be said of it. Three lines of ``width`` cells, four where there is something not to be trusted."""
    lines = [_where(snapshot, look), _heard(snapshot, width, look, time)]
    doubts = _doubts(snapshot)
    if doubts:
        lines.append(Text.assemble(("! ", look.soon), (_in(width - 2, doubts), look.strong)))
    lines.append(verdict(snapshot, width, look))
    for line in lines:
        line.truncate(width, overflow="ellipsis", pad=True)
    return lines


def verdict(snapshot: Snapshot, width: int, look: Look) -> Text:
    """'!! 2 now  ! 1 soon  3 over  4 of 11 checks fine, 5 can't say'; in a show '!! 1 now  later (3)  2 known'.

    Of the checks as much as has room.
    """
    places, show = standing(snapshot), snapshot.phase == "show"
    top = WORST_FIRST[:1] if show else WORST_FIRST
    parts = [Text(f"{MARKS[s]} {places[s]} {s}", look.style(s)) for s in top if places[s]]
    parts = parts or [Text("Nothing stops the show" if show and places["later"] else "No alert is open", look.strong)]
    parts += [Text(f"later ({places['later']})", look.text)] if places["later"] else []
    parts += [Text(f"{places[word]} {word}", look.faint) for word in ("quiet", "known", "over") if places[word]]
    line = Text("  ").join(parts)
    states = Counter(check.state for check in snapshot.checks)
    fine, blind = states["FINE"], states["NOT YET"] + states["NOT FROM HERE"]
    short = f"{fine} of {len(snapshot.checks)} checks fine"
    texts = [f"{short}, {blind} can't say", short] if blind else [short] if states else []
    for text in texts:
        if line.cell_len + 2 + len(text) <= width:
            return line.append(f"  {text}", look.text)
    return line


def _in(width: int, doubts: list[str]) -> str:
    """As many as have room; the rest is counted."""
    for most in range(len(doubts), 0, -1):
        left = len(doubts) - most
        text = f"Not to be trusted: {'; '.join(doubts[:most])}{f'; and {left} more' if left else ''}"
        if cell_len(text) <= width:
            break
    return text


def _where(snapshot: Snapshot, look: Look) -> Text:
    ports = snapshot.listening
    where = "; ".join(map(_port, ports)) or "no interface"
    if not snapshot.live and where.startswith((f"{NAMELESS},", "no ")):  # a pcap file names no interface
        where = where.removeprefix(f"{NAMELESS}, ") if ports else ""
        line = Text.assemble(("Capture", look.strong), (f", {where}" if where else "", look.strong))
    else:
        line = Text.assemble(("On " if snapshot.live else "Capture of ", look.faint), (where, look.strong))
    if len(ports) == 1 and ports[0].reasons:
        line.append(f": {safe(ports[0].reasons[0])}", look.text)
    return line


def _port(port: Listening) -> str:
    down = ", link down" if port.link.startswith("down") else ""
    return f"{safe(port.interface)}, {PLACES[port.vantage]}{down}"


def _heard(snapshot: Snapshot, width: int, look: Look, time: str) -> Text:
    """What has no room is said shorter, the least important first, so that at 80 cells nothing is cut."""
    dropped, first = snapshot.dropped, snapshot.now if snapshot.first is None else snapshot.first
    at = clock(snapshot.now) if snapshot.now else ""
    now = Text.assemble((at, look.strong), (", " if at and time else "", look.text), (time, look.text))
    lost = Text(f"! {dropped:,} dropped", look.soon) if dropped else Text("none dropped", look.text)
    phase = Text(f"phase {snapshot.phase}", look.text)
    power = [Text(safe(snapshot.power), look.strong)] if snapshot.power else []
    packets = Text(count(snapshot.packets, "packet"), look.text)
    many, short = packets + Text(f" in {span(snapshot.now - first)}", look.text), Text(snapshot.phase, look.text)
    line = Text()
    ways = (
        [many, lost, phase], [packets, lost, phase], [packets, lost, short], [lost, phase], [lost, short],
        [lost] if dropped else [],
    )  # fmt: skip
    for parts in ways:
        line = Text(" \u00b7 ", look.faint).join([now, *parts, *power])
        if line.cell_len <= width:
            break
    return line


def _doubts(snapshot: Snapshot) -> list[str]:
    """Open alerts about the laptop itself, worst first, and tables that are full."""
    told = sorted((a for a in snapshot.alerts if a.doubtful and a.closed is None), key=lambda a: WORST_FIRST.index(a.severity))
    doubts = [safe(words.doubt(a.code, a.facts)) for a in told]
    recording = next((line.text for line in reversed(snapshot.happenings) if line.what == "recording"), GOES_ON)
    if recording != GOES_ON:
        doubts.append(safe(recording).rstrip("."))
    full = [limit.table for limit in snapshot.limits if limit.first_hit is not None]
    return [*doubts, f"more {', '.join(full)} than I keep"] if full else doubts
