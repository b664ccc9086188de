"""When a sound is due: once for each cause that stops the show, however often its alerts come and go."""

from __future__ import annotations

from netwatch.story.snapshot import AlertView, Snapshot
from netwatch.story.standing import place

AGAIN = 600 * 1_000_000_000
"""What was over for so long is another cause. Common practice, no source."""


SETTLES = 1_000_000_000
"""ns that an alert stands before anybody is called: what explains it may be seen a moment later. Common practice, no source."""
WISHES = ("never", "building", "show", "always")
"""In which phase a person wants it."""


class Bell:
    """Looks at one snapshot after another."""

    def __init__(self, wish: str = "always") -> None:
        """Nothing has rung. ``wish`` = one of ``WISHES``."""
        self._wish = wish
        self._rung: set[int] = set()
        """Ids of the alerts that were rung for, or that belong to a cause that was."""

    def rings(self, snapshot: Snapshot) -> bool:
        """Is there something new at 'now' that nobody was called for? Where it is not wished for it waits for the phase."""
        if self._wish not in ("always", snapshot.phase):
            return False
        by_id = {alert.id: alert for alert in snapshot.alerts}
        due = False
        for alert in (each for each in snapshot.alerts if snapshot.now - each.opened >= SETTLES):
            if alert.over is not None or alert.about_laptop or place(alert, snapshot.phase) != "now" or alert.id in self._rung:
                continue
            due |= not self._called(alert, by_id)
            self._rung |= {alert.id, *alert.under}
        return due

    def _called(self, alert: AlertView, by_id: dict[int, AlertView]) -> bool:
        """It explains what was rung for, or it is back soon after."""
        before = by_id.get(alert.again) if alert.again is not None else None
        soon = before is not None and before.closed is not None and alert.opened - before.closed < AGAIN
        return any(id in self._rung for id in alert.under) or (soon and alert.again in self._rung)
