"""Moments and spans in the reader's own time."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo

from netwatch.words.phrases import seconds

NS = 1_000_000_000


class Times:
    """Shows moments (ns since 1970); the day stands only where it isn't the first one's. ``zone`` None = the laptop's."""

    def __init__(self, first: int | None, zone: tzinfo | None = None) -> None:
        self._zone = zone
        self._day = None if first is None else self._moment(first).date()

    def clock(self, ns: int) -> str:
        """'18:02:11', or '26 Nov 00:10:03' on another day."""
        moment = self._moment(ns)
        return moment.strftime("%H:%M:%S" if moment.date() == self._day else "%d %b %H:%M:%S")

    def span(self, first: int, last: int) -> str:
        """'Wed 25 Nov 2026, 18:02:11 to 18:02:35 (24 s), local time UTC+01:00'."""
        begin = self._moment(first)
        zone = begin.strftime("%z")
        return (
            f"{begin.strftime('%a %d %b %Y, %H:%M:%S')} to {self.clock(last)} ({lasting(first, last)}), "
            f"local time UTC{zone[:3]}:{zone[3:5]}"
        )

    def day(self, ns: int) -> str:
        """'Wed 25 Nov 2026'."""
        return self._moment(ns).strftime("%a %d %b %Y")

    def zone(self, ns: int) -> str:
        """'CET (UTC+01:00)'."""
        moment = self._moment(ns)
        offset, name = moment.strftime("%z"), moment.strftime("%Z")
        told = f"UTC{offset[:3]}:{offset[3:5]}"
        return told if not name or name.startswith("UTC") else f"{name} ({told})"

    def exact(self, ns: int) -> str:
        """'18:02:11.123456'."""
        return f"{self.clock(ns)}.{ns % NS // 1000:06d}"

    def utc(self, ns: int) -> str:
        """'2026-11-25 17:02:11'."""
        return datetime.fromtimestamp(ns // NS, UTC).strftime("%Y-%m-%d %H:%M:%S")

    def _moment(self, ns: int) -> datetime:
        return datetime.fromtimestamp(ns // NS, self._zone).astimezone(self._zone)


def lasting(first: int, last: int) -> str:
    """'24 s'."""
    return seconds(max(last - first, 0) / NS)
