"""What a person says to a watch from outside its screen: words of 'netwatch mark', and what an earlier watch of the job knew."""

from __future__ import annotations

from datetime import datetime

from platformdirs import user_state_path

from ..words.phrases import count
from .door import Door, NoDoor
from .job import Job, facts
from .joining import NS, LiveActions
from .output import complain
from .session import Session


class Person:
    """Put what is known into the input, and open the door for words. Nothing here ends a watch: what can't be done is told."""

    def __init__(self, session: Session, actions: LiveActions, *, new_job: bool) -> None:
        self._session, self._actions = session, actions
        self._job = Job(user_state_path("netwatch") / "known.txt")
        if new_job and self._job.end():
            complain("A new job: what was known in the last one is forgotten.")
        known = self._job.load()
        for left in known:
            session.source.say(facts(left))
        if known:
            things = count(len(known), "thing is", "things are")
            complain(f"{things} known from before in this job and left be ({self._job.path}); --new-job forgets them.")
        self._tell()
        self._phase = session.player.phase
        session.on_mark.append(self.look)
        self._door: Door | None = None
        try:
            self._door = Door(self._hear)
        except NoDoor as error:
            complain(f"{error} So 'netwatch mark' can't reach this watch.")

    def look(self) -> None:
        """Keep what is known for the next watch; put a phase that the plan brought into the input, for replays without it."""
        self._job.save(self._session.known())
        phase = self._session.player.phase
        if phase != self._phase:
            self._phase = phase
            self._session.source.say({"phase": phase})

    def close(self) -> None:
        """No more words from outside."""
        if self._door is not None:
            self._door.close()

    def end(self) -> None:
        """After the last item."""
        self._job.save(self._session.known())
        self._tell()

    def _hear(self, word: str, at: int) -> str:
        self._actions.mark(word, at)
        ports = ", ".join(port.name for port in self._session.source.ports)
        return f"Marked at {datetime.fromtimestamp(at / NS):%H:%M:%S} in the watch on {ports}: {word}"

    def _tell(self) -> None:
        """Say once what could not be kept."""
        problem, self._job.problem = self._job.problem, None
        if problem:
            complain(problem)
