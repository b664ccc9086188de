"""The answers to what this laptop asked, as text."""

from __future__ import annotations

from netwatch.story.asked_view import Answer, AskedView
from netwatch.story.snapshot import Snapshot
from netwatch.words import SEVERITY
from netwatch.words import asked as words
from netwatch.words.phrases import listing, plain, ranges, seconds, three_number_ranges

from .findings import loud, worst_first
from .layout import Column, Line, hang, painted, table, wrap

MOST = 200
MOST_SILENT = 24


def render(snapshot: Snapshot, *, colour: bool = False, width: int = 80) -> str:
    """The newest question, and the alerts that want something done."""
    view = snapshot.asked[-1]
    lines = [Line(words.HEADS[view.kind], "head")]
    columns, rows = {"dhcp": _servers, "artnet": _nodes, "arp": _owners}[view.kind](view)
    lines += [Line(text) for text in (table(columns, rows, width, MOST) if rows else [])]
    if view.silent:
        silent = listing([f"{address} ({plain(name)})" if name else address for address, name in view.silent], MOST_SILENT)
        lines += [Line(text) for text in hang(f"{words.SILENT}:", f"{silent}.", width, len(words.SILENT) + 2)]
    strangers, rivals = sum(each.planned is False for each in view.answers), sum(bool(each.rivals) for each in view.answers)
    said = words.verdict(view.kind, len(view.answers), len(view.silent), strangers, rivals)
    lines += [Line(text, "head") for text in wrap(said, width)]
    for alert in [each for each in loud(worst_first(snapshot)) if each.closed is None]:
        shown = SEVERITY[alert.severity]
        lines += [Line(text, alert.severity) for text in hang(f"{shown.mark:2} {shown.word}", alert.title, width, 10)]
    return painted(lines, colour)


def _servers(view: AskedView) -> tuple[list[Column], list[list[str]]]:
    columns = [Column("Server"), Column("MAC"), Column("Maker", True), Column("Offers"), Column("Mask"), Column("Gateway"),
               Column("Lease"), Column("", True)]  # fmt: skip
    return columns, [
        [each.address, each.mac, each.maker, each.offered, each.mask, each.router,
         "" if each.lease is None else seconds(each.lease), _remark(each)]
        for each in view.answers
    ]  # fmt: skip


def _nodes(view: AskedView) -> tuple[list[Column], list[list[str]]]:
    heads = ("Name", "Outputs", "By its own word", "")
    columns = [Column("Address"), *(Column(head, True) for head in heads)]
    return columns, [
        [each.address, each.name, _universes(each.outputs), _own_word(each), _remark(each)] for each in view.answers
    ]


def _owners(view: AskedView) -> tuple[list[Column], list[list[str]]]:
    columns = [Column("Address"), Column("MAC"), Column("Maker", True), Column("Name", True), Column("", True)]
    return columns, [
        [each.address, ", ".join((each.mac, *each.rivals)), each.maker, each.name, _remark(each)] for each in view.answers
    ]


def _own_word(each: Answer) -> str:
    """What a node says of its outputs (GoodOutput, Art-Net 4 p.28), by their flat numbers."""
    told = ((words.MERGES, each.merging), (words.PUTS_OUT, each.fed), (words.FOLLOWS, each.follows_e131))
    parts = [f"{word} {ranges(numbers, 2)}" for word, numbers in told if numbers]
    return "; ".join(parts) or (words.STILL if each.outputs else "")


def _universes(numbers: tuple[int, ...]) -> str:
    return f"{three_number_ranges(numbers, 2)} ({ranges(numbers, 2)})" if numbers else ""


def _remark(each: Answer) -> str:
    return words.NOT_PLANNED if each.planned is False else ""
