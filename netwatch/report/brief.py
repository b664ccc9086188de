"""'In short': three neutral sentences, and the facts at the head of a report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from netwatch import words
from netwatch.packets.batch import FileSeen
from netwatch.report.findings import loud, worst_first
from netwatch.report.text import distrust
from netwatch.report.times import Times
from netwatch.settings import changed
from netwatch.story.evening import Evening
from netwatch.story.snapshot import AlertView, Snapshot
from netwatch.words import report as said
from netwatch.words.phrases import count, listing, number, plain, size, with_mask

MOST, MOST_WORST = 8, 3
NS = 1_000_000_000


@dataclass(frozen=True, slots=True)
class Job:
    """What the person says of the job; '' = left blank, to be filled in by hand."""

    job: str = ""
    by: str = ""
    socket: str = ""
    program: str = ""
    """Version of program and rules."""
    names: bool = False
    """People's own devices are shown by name."""


def in_short(snapshot: Snapshot, times: Times) -> list[str]:
    """The three sentences."""
    places = [f"{plain(port.interface)} ({words.VANTAGE[port.vantage].name})" for port in snapshot.listening]
    boxes = sum(not host.ours for host in snapshot.hosts)
    light = len({(each.protocol, each.universe) for each in snapshot.streams})
    first, last = snapshot.first or 0, snapshot.last or 0
    sentences = [said.listened(times.day(first), times.clock(first), times.clock(last), places, boxes, light)]
    found = loud(worst_first(snapshot))
    if not found:
        unseen = [each.name for each in snapshot.checks if each.state in ("NOT FROM HERE", "NOT YET")]
        return [*sentences, said.NOTHING_FOUND, *([said.unchecked(unseen)] if unseen else [])]
    like = sorted([each for each in found if each.severity == found[0].severity][:MOST_WORST], key=lambda each: each.since)
    told = [(each.title, times.clock(each.since), None if each.closed is None else times.clock(each.closed)) for each in like]
    sentences.append(said.worst(told, len(found) - len(like)))
    sentences.append(said.meanwhile(_link(snapshot, found[0]), snapshot.dropped, _went_on(snapshot, found[0])))
    return sentences


def _link(snapshot: Snapshot, alert: AlertView) -> bool | None:
    """Did this laptop's link stay up; None = the recording doesn't tell."""
    here = [each for each in snapshot.listening if each.interface == alert.interface]
    if not here or not here[0].link:
        return None
    return here[0].link.startswith("up") and not any(each.what == "link" for each in alert.before)


def _went_on(snapshot: Snapshot, alert: AlertView) -> int:
    """Boxes that the alert does not name, and that were heard after it began."""
    named = {text for value in alert.facts.values() for text in _texts(value)}
    return sum(
        not host.ours and host.last > alert.since + NS
        and not named & {host.mac, *host.addresses, *(name for name, _ in host.names)}
        for host in snapshot.hosts
    )  # fmt: skip


def _texts(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    return [text for each in value for text in _texts(each)] if isinstance(value, list | tuple) else []


def facts(evening: Evening, job: Job, times: Times) -> list[tuple[str, str]]:
    """(label, text) of the head; '' = a blank to fill in."""
    snapshot, files = evening.snapshot, evening.files
    first, last = snapshot.first or 0, snapshot.last or 0
    doubts = distrust(snapshot, files)
    rows = [
        (said.JOB, plain(job.job)), (said.DATE, times.day(first)), (said.BY, plain(job.by)), (said.SOCKET, plain(job.socket)),
        (said.RECORDED, times.span(first, last)), (said.ZONE, times.zone(first)),
        *((said.LISTENED, text) for text in _places(snapshot)),
        (said.READ, f"{count(snapshot.packets, 'packet', 'packets')} ({size(snapshot.bytes)}){_from(files)}"),
        (said.DROPPED, number(snapshot.dropped)), (said.TRUST, said.trust(doubts)), (said.PHASE, plain(snapshot.phase)),
        *((said.RECORDING, text) for text in evening.recording), (said.PROGRAM, job.program),
    ]  # fmt: skip
    if snapshot.settings:
        rows.append((said.SETTINGS, listing([str(each) for each in changed(snapshot.settings)], MOST)))
    return rows


def _places(snapshot: Snapshot) -> list[str]:
    out = []
    for port in snapshot.listening[:MOST]:
        own = [with_mask(each) for each in port.addresses]
        out.append(said.place(port.interface, words.VANTAGE[port.vantage].name, port.reasons, own, port.link))
    return out


def _from(files: Sequence[FileSeen]) -> str:
    return f" from {listing([plain(file.name) for file in files], 6)}" if files else ""
