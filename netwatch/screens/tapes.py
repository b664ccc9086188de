"""Time: in replay play, stand still and jump; live let the picture stand while the watch goes on."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from datetime import datetime, timedelta

from textual import work

from netwatch.screens.ask import Ask
from netwatch.screens.pull import Pull
from netwatch.screens.words import NS, clock

TIME = "Go to which time of day? For example 21:40 or 21:40:30."


class Tapes(Pull):
    """Part of the app."""

    def time_text(self) -> str:
        """What the trust line says of time; '' = live and running."""
        tape = self.source.tape
        if self.source.reading:
            return f"reading the capture, {self.source.reading}"
        if tape is None:
            return "this picture stands still, the watch goes on (space)" if self.frozen else self.source.note
        if tape.playing:
            return f"playing{'' if tape.speed == 1 else f' {tape.speed} times as fast'}, ends {clock(tape.last)}"
        return "end of the capture" if tape.at >= tape.last else f"stands still, ends {clock(tape.last)}"

    def open(self, what: object) -> None:
        """Show one thing."""
        raise NotImplementedError

    def action_still(self) -> None:
        tape = self.source.tape
        if self.source.reading:
            return
        if tape is None:
            self.frozen = not self.frozen
            self.renew()
        elif tape.at >= tape.last:
            self._seek(tape.first, play=True)
        else:
            tape.play(not tape.playing)
        self.draw()

    def action_hasten(self, faster: bool) -> None:
        if self.source.tape is not None:
            self.source.tape.hasten(faster)
            self.draw()

    def action_shift(self, seconds: int) -> None:
        tape = self.source.tape
        if tape is not None:
            self._seek(tape.at + seconds * NS)

    def action_jump(self, by: int) -> None:
        """To the next moment at which an alert opened or a mark stands, or to the one before."""
        tape = self.source.tape
        if tape is None:
            return
        moments = [tape.first, *tape.moments, tape.last]
        place = bisect_right(moments, tape.at) if by > 0 else bisect_left(moments, tape.at) - 1
        self._seek(moments[min(max(place, 0), len(moments) - 1)])

    def moment(self, at: int, alert: object) -> None:
        """A line of the evening was chosen: go there in replay, else to its alert."""
        if self.source.tape is not None:
            self._seek(at)
        elif alert is not None:
            self.open(("alert", alert))

    @work(group="ask")
    async def action_go(self) -> None:
        """Ask for a time of day and go there."""
        ask, tape = self.query_one(Ask), self.source.tape
        answer = await ask.ask(TIME)
        if tape is None or not answer:
            return
        at = time_of_day(answer, tape.first)
        if at is None:
            ask.tell(f"'{answer}' is no time of day; write 21:40 or 21:40:30.")
        elif not tape.first <= at <= tape.last:
            ask.tell(f"There is nothing at {answer}: the capture goes from {clock(tape.first)} to {clock(tape.last)}.")
        else:
            self._seek(at)

    @work(group="seek", exclusive=True, thread=True)
    def _seek(self, at: int, play: bool = False) -> None:
        tape = self.source.tape
        if tape is not None:
            tape.seek(min(max(at, tape.first), tape.last))
            if play:
                tape.play(True)
            self.call_from_thread(self.renew)


def time_of_day(text: str, first: int) -> int | None:
    """ns of a local time of day at or after ``first``; None where the text is none."""
    for form in ("%H:%M:%S", "%H:%M"):
        try:
            time = datetime.strptime(text.strip(), form).time()
        except ValueError:
            continue
        begin = datetime.fromtimestamp(first // NS)
        found = datetime.combine(begin.date(), time)
        if found < begin.replace(second=0 if form == "%H:%M" else begin.second):
            found += timedelta(days=1)
        return max(int(found.timestamp()) * NS, first)
    return None
