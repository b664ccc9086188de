"""The view of one universe's levels: a cursor over 512 DMX channels."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace
from typing import ClassVar

from rich.text import Text
from textual.binding import Binding, BindingType
from textual.geometry import Size

from netwatch.screens import bars, universe
from netwatch.screens.bars import Looking
from netwatch.screens.drawn import Told
from netwatch.screens.looks import Look
from netwatch.screens.source import Source
from netwatch.screens.universe import SLOTS, U8
from netwatch.story.snapshot import Snapshot
from netwatch.words.record import JOURNAL_NO_LEVELS

INDENT = 2


class LevelsView(Told, can_focus=True):
    """Draws itself anew for each snapshot; what changed since the last one is underlined."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "app.leave", "Back"),
        Binding("v", "way", "Show other"),
        Binding("f", "follow", "Follow"),
        Binding("percent_sign", "percent", "% or 255"),
        Binding("left,h", "move(-1)", "Left"),
        Binding("right,l", "move(1)", "Right"),
        Binding("up,k", "line(-1)", "Up"),
        Binding("down,j", "line(1)", "Down"),
        Binding("home", "edge(False)", "First channel"),
        Binding("end", "edge(True)", "Last channel"),
    ]

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id, indent=INDENT)
        self.display = False
        self._looking = Looking()
        self._key: tuple[object, ...] = ()
        self._source: Source | None = None
        self._shown: tuple[Snapshot, Look] | None = None
        self._before: U8 | None = None
        self._now: U8 | None = None
        self._revision = -1
        self._told: list[Text] = []

    @property
    def text(self) -> str:
        """What is shown, to be copied."""
        return "\n".join(line.plain.rstrip() for line in self._told)

    def begin(self, source: Source, key: Hashable) -> None:
        """Look at a universe: ('universe', interface, vlan, protocol, number)."""
        if isinstance(key, tuple) and key != self._key:
            self._key, self._looking, self._before, self._now, self._revision = key, Looking(), None, None, -1
        self._source = source
        self._ask()

    def show(self, key: Hashable, snapshot: Snapshot, look: Look) -> None:
        """Draw a snapshot."""
        self._shown = snapshot, look
        made = universe.levels(self._key, snapshot)
        if made is None:
            of_journal = self._source is not None and self._source.note
            self._told = [Text(JOURNAL_NO_LEVELS if of_journal else "Nobody sends this universe any more.", look.text)]
        else:
            if snapshot.revision != self._revision:
                self._before, self._now, self._revision = self._now, made.shown, snapshot.revision
            plain = self._looking.what % len(bars.ways(made)) == 0
            before = self._before if plain else None
            room = Size(max(self.size.width - 2 * INDENT, 20), self.size.height)
            self._told = bars.lines(made, self._looking, before, snapshot, room, look)
        self.tell(self._told)

    def on_resize(self) -> None:
        super().on_resize()
        self._again()

    def action_way(self) -> None:
        self._change(what=self._looking.what + 1)

    def action_percent(self) -> None:
        self._change(percent=not self._looking.percent)

    def action_move(self, by: int) -> None:
        self._change(cursor=min(max(self._looking.cursor + by, 0), SLOTS - 1))

    def action_line(self, by: int) -> None:
        each = bars.channels_a_line(self.size.width - 2 * INDENT)
        wanted = self._looking.cursor + by * each
        self._change(cursor=wanted if 0 <= wanted < SLOTS else self._looking.cursor)

    def action_edge(self, last: bool) -> None:
        self._change(cursor=SLOTS - 1 if last else 0)

    def action_follow(self) -> None:
        """List what the channel under the cursor does from now on; again: no more."""
        here = self._looking.cursor + 1
        self._change(followed=None if self._looking.followed == here else here)
        self._ask()

    def _ask(self) -> None:
        if self._source is not None and self._key:
            self._source.look(str(self._key[3]), int(str(self._key[4])), self._looking.followed)

    def _change(self, **what: object) -> None:
        self._looking = replace(self._looking, **what)  # type: ignore[arg-type]
        self._again()

    def _again(self) -> None:
        if self._shown is not None:
            self.show(self._key, *self._shown)
