"""Capture files as a source: pcap and pcapng, plain, gzip or from a pipe, one or several."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from functools import partial
from os import PathLike, fspath
from os.path import isdir

from .batch import FileSeen, Item, PacketBatch
from .blocks import SECTION
from .folder import captures_in
from .merge import Feed, merged
from .pcap import MAGICS, PcapReader
from .pcapng import PcapngReader
from .ports import PortTable
from .reader import Reader
from .stream import BLOCK, ByteStream, CaptureError, is_regular, shown_path

__all__ = ["CaptureError", "Captures", "open_captures", "packet_bytes", "packets_of", "place_in"]

Path = str | PathLike[str]

PEEK = 64 << 10
"""Bytes read of each of several files, to find out which comes first."""

_PCAPNG = SECTION.to_bytes(4, "big")


class Captures:
    """A source that reads files to their present end. Made by ``open_captures``; can be iterated once."""

    def __init__(self, feeds: Sequence[Feed]) -> None:
        self._feeds = sorted(feeds, key=lambda feed: (feed.begins, feed.order))
        self.files: list[FileSeen] = [feed.seen for feed in self._feeds]
        """In the order read: by the time of the first packet."""
        sizes = [feed.size for feed in feeds]
        self.bytes_total = None if None in sizes else sum(size for size in sizes if size)
        """Bytes of all files when they were opened; None if one is a pipe."""
        self._closed = False

    @property
    def bytes_read(self) -> int:
        """Bytes of the files read so far (packed ones of a gzip file)."""
        return sum(feed.reader.stream.taken for feed in self._feeds if feed.reader)

    @property
    def raised(self) -> int:
        """Packets whose wire length was given as less than their captured length."""
        return sum(feed.reader.raised for feed in self._feeds if feed.reader)

    def __iter__(self) -> Iterator[Item]:
        try:
            for item in merged(self._feeds, PortTable()):
                if self._closed:
                    return
                yield item
        finally:
            self.close()

    def close(self) -> None:
        """Yield nothing more."""
        self._closed = True
        for feed in self._feeds:
            feed.close()


def open_captures(paths: Sequence[Path]) -> Captures:
    """Open capture files ('-' is standard input), or all of a folder.

    Raises ``CaptureError`` if nothing can be read from one of them. A file of a folder is left out then, and its ``FileSeen``
    tells why, unless it is the same with all: a segment may be damaged, or gone since the folder was looked at.
    """
    chosen = _files(paths)
    feeds: list[Feed] = []
    try:
        for order, (path, of_folder) in enumerate(chosen):
            feed = Feed(FileSeen(shown_path(path)), order, partial(_open_reader, path))
            feeds.append(feed)
            try:
                _begin(feed, path, alone=len(chosen) == 1)
            except CaptureError as error:
                feed.seen.problem, feed.size = str(error), 0
                if not of_folder or (order + 1 == len(chosen) and all(each.seen.problem for each in feeds)):
                    raise
    except BaseException:
        for feed in feeds:
            feed.close()
        raise
    return Captures(feeds)


def _files(paths: Sequence[Path]) -> list[tuple[str, bool]]:
    """(path, is it of a folder that was named)."""
    found: list[tuple[str, bool]] = []
    for path in [fspath(each) for each in paths]:
        found += [(each, True) for each in captures_in(path)] if isdir(path) else [(path, False)]
    return found


def _begin(feed: Feed, path: str, *, alone: bool) -> None:
    """Of several files each is looked into, to find out which comes first."""
    again = not alone and is_regular(path)
    feed.begin(PEEK if again else BLOCK)
    if not alone:
        feed.peek(again=again)


def packet_bytes(paths: Sequence[Path], numbers: Iterable[int]) -> dict[int, bytes]:
    """The captured bytes of packets by number, read from the files again."""
    return {n: one.packet(0) for n, one in packets_of(paths, numbers).items()}


def packets_of(paths: Sequence[Path], numbers: Iterable[int]) -> dict[int, PacketBatch]:
    """Batches of one row by packet number, read from the files again; those of a pipe are gone, as are files taken away."""
    wanted = sorted(set(numbers))
    found: dict[int, PacketBatch] = {}
    if not wanted or not all(is_regular(fspath(path)) for path in paths):
        return found
    try:
        source = open_captures(paths)
    except CaptureError:
        return found
    with closing(source):
        for item in source:
            if isinstance(item, PacketBatch):
                low, high = bisect_left(wanted, item.first), bisect_left(wanted, item.first + item.rows)
                found.update((n, item.only(n - item.first)) for n in wanted[low:high])
                if high == len(wanted):
                    break
    return found


def place_in(files: Sequence[FileSeen], n: int) -> tuple[str, int] | None:
    """(file, number in it) of packet ``n``; None where files were merged, so that it can't be told."""
    within = [file for file in files if file.packets and file.first <= n < file.first + file.packets]
    return (within[0].name, n - within[0].first + 1) if len(within) == 1 else None


def _open_reader(path: str, block: int) -> Reader:
    """The reader of a file's format. Raises ``CaptureError``."""
    stream = ByteStream(path, block)
    try:
        if stream.head[:4] in MAGICS:
            return PcapReader(stream)
        if stream.head[:4] == _PCAPNG:
            return PcapngReader(stream)
        raise CaptureError(_not_a_capture(stream))
    except BaseException:
        stream.close()
        raise


def _not_a_capture(stream: ByteStream) -> str:
    if stream.problem:
        return f"{stream.name} can't be read: {stream.problem}; copy it again from where it was made."
    if not stream.head:
        return f"{stream.name} is empty; check that the recording ran, or copy the file again."
    return f"{stream.name} is not a capture file; give a pcap or pcapng file, as it is or packed with gzip."
