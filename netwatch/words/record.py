"""Words that stand in recordings: comments of slices and packets, and what is said of recording itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from .phrases import count, listing, name, number, seconds, size, start

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


# ---- the journal ----


def cannot_create(path: str, why: str) -> str:
    """No journal could be begun."""
    return f"No journal can be written to {path} ({why}); make room or choose another folder with --journal, or use --no-record."


def no_journal(path: str) -> str:
    """There is none."""
    return f"{path}: there is no journal; give the folder that 'netwatch watch' named when it ended."


def locked(path: str) -> str:
    """Another program holds it."""
    return f"{path} is held by another program; close that one, or try again."


def foreign(path: str) -> str:
    """It is a file of another kind."""
    return f"{path} is no journal of netwatch; give the folder that 'netwatch watch' named when it ended."


def newer(path: str, version: int, known: int) -> str:
    """A later version of netwatch made it."""
    return f"{path} was written by a newer netwatch (journal version {version}, this one knows {known}); use that one to read it."


def damaged(path: str, why: str) -> str:
    """It can't be read to its end."""
    return f"{path} is damaged ({why}); copy it again, or report from the slices beside it."


def not_written(path: str, why: str) -> str:
    """The journal can't be written now."""
    return f"The journal {path} can't be written now ({why}): watching goes on, and what happens is kept in memory until it can."


def made_room(sessions: int, folder: str) -> str:
    """Old sessions were taken away."""
    return f"{count(sessions, 'old session was', 'old sessions were')} taken away from {folder} to make room."


def recorded(folder: str, given_up: int) -> str:
    """At the end of a session."""
    lost = f" {gave_way(given_up)}" if given_up else ""
    return f"Recorded in {folder}.{lost} A page of it: netwatch report {folder} -o report.html"


NO_END = "The session goes on, or was ended by force: the last second may be missing."


def gave_way(given_up: object) -> str:
    """Packets that were not recorded."""
    packets = count(given_up, "packet was", "packets were") if isinstance(given_up, int) else "some packets were"
    return f"{start(packets)} not recorded: recording gave way to watching."


def taken(found: Mapping[str, object]) -> str:
    """What the journal had to give up to stay within its size."""
    rows = {key: value for key, value in found.items() if type(value) is int and value > 0}
    told = [f"figures of the first {seconds(rows['figures ns'] / 1e9)}"] if "figures ns" in rows else []
    told += [many for key, many in _TAKEN.items() if key in rows]
    told += [count(rows["alerts"], "alert that was over", "alerts that were over")] if "alerts" in rows else []
    return f"Taken away to keep the journal within its size, the oldest first: {listing(told, 6)}." if told else ""


_TAKEN = {"heard": "what was heard no longer", "packets": "packets that alerts rest on", "lines": "lines about no alert"}


def slices_gone(found: Sequence[tuple[str, str]]) -> str:
    """Slices that had to go."""
    return f"No longer there: {listing([f'{file} ({why})' for file, why in found], 6)}."


# ---- a journal that is opened ----

JOURNAL_NO_LEVELS = "A journal keeps no levels. 'netwatch replay' of a capture or of a slice beside it shows them."
JOURNAL_NO_WAY = "A journal does not keep what this takes: 'netwatch replay' of a capture follows a universe on its way."
JOURNAL_RUNS, JOURNAL_ENDED = "journal of a watch that goes on", "end of the journal"
NO_SESSION = "No session was recorded so far; 'netwatch watch' records one, or give the folder of a journal."


def journal_quiet(idle: float) -> str:
    """It was not ended, and nothing is written any more."""
    return f"journal, nothing new for {seconds(idle)}: its watch may have been ended by force"


def holds_sessions(folder: str, number: int, newest: str) -> str:
    """A folder of sessions was named in place of one."""
    return f"{folder} holds {count(number, 'session', 'sessions')}, and is none itself; name one, as the newest: {newest}."


def newest(folder: str) -> str:
    """Which session is opened where none was named."""
    return f"The newest session: {folder}"


# ---- packets ----

TALK = "netwatch: all that the rig said but the levels (ARP, DHCP, IGMP, Art-Net polls and replies, discovery, LLDP, STP)."
ROLLED = "overwritten by newer packets"
NO_ROOM = "taken away to make room"


GOES_ON = "Recording is whole again."
GIVES_WAY = "Packets come faster than they can be recorded: recording gives way to watching."


def kept_by_netwatch(whole: bool, headers_only: bool) -> str:
    """A file's comment."""
    return f"netwatch recording. {cut(whole, headers_only)}"


def cannot_prune(file: str, why: str) -> str:
    """An old segment can't be taken away."""
    return f"{file} can't be taken away to make room ({why.lower()}); what was kept until then is good."


def disk_full(folder: str, reserve: int) -> str:
    """No new segment begins."""
    return f"The disk of {folder} is nearly full; {size(reserve)} stay free for the journal. Make room, and it goes on by itself."


FULL_RATE = 64 * 44 * (638 + 42 + 44)
"""Bytes a second of 64 universes of 512 DMX channels, each frame kept whole: payload, headers, block of the file."""


STREAM_MINUTE = 60
"""Bytes of the journal that the figures of a stream take each minute (measured)."""


def guard_begins(folder: str, capture: int, talk: int, slices: int, journal: int, free: int) -> str:
    """What a guard says first."""
    return (
        f"Kept in {folder}: the newest packets in {size(capture)} of {size(free)} that are free "
        f"({seconds(capture / FULL_RATE)} of 64 full universes in motion, longer of fewer or of standing light), "
        f"what the rig says but the levels in {size(talk)}, packets around alerts and marks in {size(slices)}, "
        f"what happened and how each stream ran in {size(journal)} ({seconds(journal / STREAM_MINUTE / 64 * 60)} of 64 streams)."
    )


def reaches(hours: Mapping[str, float]) -> str:
    """How far the stores reach at the rate so far (s)."""
    told = [f"{_STORES[store].lower()} {seconds(reach)}" for store, reach in hours.items()]
    return f"At the rate so far {listing(told)} {'are' if len(told) > 1 else 'is'} kept before the oldest goes."


_STORES = {"slice": "Packets around alerts", "talk": "What the rig says", "capture": "The capture"}


def not_kept(store: str, why: str) -> str:
    """A store of packets can't be written now."""
    return f"{_STORES[store]} can't be kept now; watching goes on. {why}"
