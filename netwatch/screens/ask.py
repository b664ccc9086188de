"""One question at a time, on the lines above the keys; also where an answer is told."""

from __future__ import annotations

import asyncio
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.message import Message
from textual.timer import Timer
from textual.widgets import Input, Static

from netwatch.screens.words import safe

TOLD_FOR = 8.0
"""Seconds that a told sentence stands."""


class Answer(Input):
    """Where the answer is typed."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "submit", "Answer")]


class Ask(Vertical):
    """Hidden until something is asked or told."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "cancel", "Leave it"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._answer: asyncio.Future[str | None] | None = None
        self._hide: Timer | None = None

    class Changed(Message):
        """Something is asked, or no more."""

    @property
    def asking(self) -> bool:
        """A question waits for its answer."""
        return self._answer is not None

    def compose(self) -> ComposeResult:
        yield Static(markup=False)
        yield Answer(compact=True, select_on_focus=False)

    def on_mount(self) -> None:
        self.display = False
        self.query_one(Answer).cursor_blink = False

    async def ask(self, question: str) -> str | None:
        """What the person typed; None for Esc, or where another question is still open."""
        if self.asking:
            self.query_one(Answer).focus()
            return None
        self._show(question, with_input=True)
        before = self.screen.focused
        field = self.query_one(Answer)
        field.clear()
        field.focus()
        self._answer = asyncio.get_running_loop().create_future()
        self.post_message(self.Changed())
        answer = await self._answer
        self._answer = None
        self.display = False
        self.post_message(self.Changed())
        self.screen.set_focus(before)
        return answer

    async def yes(self, question: str) -> bool:
        """Whether the person typed yes."""
        return (await self.ask(question) or "").strip().lower() in ("y", "yes")

    def tell(self, sentence: str) -> None:
        """Show a sentence for a while."""
        self._show(sentence, with_input=False)
        self._hide = self.set_timer(TOLD_FOR, self._fade)

    def submit(self) -> None:
        """Take what is typed as the answer."""
        self._give(self.query_one(Answer).value)

    def action_cancel(self) -> None:
        self._give(None)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self._give(event.value)

    def _give(self, answer: str | None) -> None:
        if self._answer is not None and not self._answer.done():
            self._answer.set_result(answer)

    def _fade(self) -> None:
        if not self.asking:
            self.display = False

    def _show(self, sentence: str, with_input: bool) -> None:
        if self._hide is not None:
            self._hide.stop()
        self.query_one(Static).update(Text(safe(sentence)))
        self.query_one(Answer).display = with_input
        self.display = True
