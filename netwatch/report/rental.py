"""For whoever lends the devices: one page, a row a device, no levels."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from netwatch import words
from netwatch.report.brief import Job, facts
from netwatch.report.findings import RANK, loud
from netwatch.report.html import render
from netwatch.report.masked import hider, masked
from netwatch.report.times import Times
from netwatch.story.assets import Asset
from netwatch.story.document import address_key
from netwatch.story.evening import Evening
from netwatch.story.snapshot import AlertView, HostView, Snapshot
from netwatch.words import report as said
from netwatch.words.phrases import listing, plain

MOST_FAULTS, MOST_MARKS = 4, 20


@dataclass(frozen=True, slots=True)
class Fault:
    """What was found of one device: one code, once or several times."""

    at: str
    title: str
    certainty: str
    kind: str
    """setting or perhaps hardware."""


@dataclass(frozen=True, slots=True)
class Device:
    """One row."""

    asset: str
    name: str
    maker: str
    mac: str
    firmware: str
    first: Sequence[str]
    """Time, then the address that it had."""
    last: Sequence[str]
    silent: str
    faults: Sequence[Fault]
    left: str


def page(evening: Evening, job: Job, zone: tzinfo | None = None) -> str:
    """The page; people's own devices are left out, unless ``job.names``."""
    evening = evening if job.names else masked(evening)
    times = Times(evening.snapshot.first, zone)
    found = devices(evening, times)
    hidden = len({host.names for host in evening.snapshot.hosts if not host.mac})
    kept = (said.JOB, said.DATE, said.BY, said.SOCKET, said.RECORDED, said.TRUST, said.PROGRAM)
    head = [row for row in facts(evening, job, times) if row[0] in kept]
    marked = [f"{times.clock(mark.at)} {plain(mark.word)}" for mark in evening.snapshot.marks[:MOST_MARKS]]
    return render(
        "rental.html", title=said.TITLE_RENTAL, job=job, facts=head, wide=True, devices=found, hidden=hidden, marked=marked,
        unheard=unheard(evening),
    )  # fmt: skip


def devices(evening: Evening, times: Times) -> list[Device]:
    """A row a box, those with faults first; this laptop and people's own devices are left out."""
    snapshot, hide = evening.snapshot, hider(evening.hidden)
    planned = {each.mac: each for each in evening.assets if each.mac}
    rows = [(host, _about(snapshot, host)) for host in snapshot.hosts if host.mac and not host.ours]
    rows.sort(key=lambda row: (not row[1], *_order(row[0])))
    return [_device(snapshot, host, about, times, hide, planned.get(host.mac)) for host, about in rows]


def _order(host: HostView) -> tuple[object, ...]:
    return (address_key(host.addresses[0]) if host.addresses else (2,)), host.mac


def unheard(evening: Evening) -> list[str]:
    """'HG-112 boathouse': devices of the plan that did not say a word."""
    return [plain(f"{each.asset} {each.name}".strip()) for each in evening.assets if not each.mac]


def _device(
    snapshot: Snapshot, host: HostView, about: Sequence[AlertView], times: Times, hide: Callable[[str], str],
    planned: Asset | None,
) -> Device:
    gone = [each for each in about if each.code in said.GONE]
    faults = [_fault([each for each in about if each.code == code], times, hide) for code in _unique(each.code for each in about)]
    return Device(
        plain(planned.asset) if planned else "", _called(host, planned), plain(host.vendor), host.mac, _firmware(snapshot, host),
        (times.clock(host.first), *host.addresses[:1]), (times.clock(host.last), *host.addresses[-1:]),
        said.went_silent(sum(each.times for each in gone), [times.clock(each.since) for each in gone]),
        faults[:MOST_FAULTS], said.more(len(faults) - MOST_FAULTS) if len(faults) > MOST_FAULTS else "",
    )  # fmt: skip


def _called(host: HostView, planned: Asset | None) -> str:
    """By the names that it tells, else as the plan calls it."""
    told = _unique(plain(name) for name, _ in host.names)
    return listing(told or ([plain(planned.name)] if planned else []), 2)


def _fault(alike: Sequence[AlertView], times: Times, hide: Callable[[str], str]) -> Fault:
    """Alerts of one code as one."""
    worst = alike[0]
    when = listing([times.clock(each.since) for each in sorted(alike, key=lambda each: each.since)], 3)
    return Fault(when, plain(hide(worst.title)), words.CERTAINTY[worst.certainty].word.lower(), said.OF_DEVICES[worst.code])


def _firmware(snapshot: Snapshot, host: HostView) -> str:
    """'1.4', or '1.3, later 1.4'."""
    mine = [
        each for each in snapshot.nodes if each.mac == host.mac and (each.interface, each.vlan) == (host.interface, host.vlan)
    ]
    first = [said.firmware(each.firmware[0]) for each in mine]
    last = [said.firmware(each.firmware[1]) for each in mine]
    return listing(_unique(first), 3) if first == last else said.changed_to(listing(_unique(first), 3), listing(_unique(last), 3))


def _unique(texts: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(texts))


# ---- which alerts are about a device ----


def _about(snapshot: Snapshot, host: HostView) -> list[AlertView]:
    """Alerts of the codes that are about devices and that name this one, worst first; not what another alert explains."""
    known = {alert.id for alert in snapshot.alerts}
    alerts = [a for a in loud(snapshot.alerts) if a.code in said.OF_DEVICES and a.over not in known and _names(snapshot, a, host)]
    return sorted(alerts, key=lambda each: (RANK[each.severity], each.since, each.id))


def _names(snapshot: Snapshot, alert: AlertView, host: HostView) -> bool:
    if alert.interface != host.interface:
        return False
    kind, _, of = alert.subject.partition(":")
    told = set(texts(alert.facts))
    if host.mac in told or (kind, of) == ("host", host.mac):
        return True
    if told & {name for name, _ in host.names} or (kind == "server" and of in host.addresses):
        return True
    return kind == "source" and any(each.source == of and each.address in host.addresses for each in snapshot.streams)


def texts(value: object) -> list[str]:
    """All texts inside an alert's facts."""
    if isinstance(value, str):
        return [value]
    if hasattr(value, "values"):
        return [text for each in value.values() for text in texts(each)]
    return [text for each in value for text in texts(each)] if isinstance(value, list | tuple) else []
