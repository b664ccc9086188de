"""The plan against the rig, as a snapshot holds it."""

from __future__ import annotations

from dataclasses import dataclass

from netwatch.plan.standing import DIFFERS, EXTRA, HERE, MISSING, Standing

STATES = (HERE, DIFFERS, MISSING, EXTRA)


@dataclass(frozen=True, slots=True)
class PlanView:
    """The plan's boxes in its order, extra ones behind them."""

    name: str
    standings: tuple[Standing, ...]
    remarks: tuple[str, ...]
    """What of the plan was not understood."""

    def of(self, state: str) -> list[Standing]:
        """Those in one state."""
        return [each for each in self.standings if each.state == state]

    @property
    def counts(self) -> dict[str, int]:
        """By state."""
        return {state: len(self.of(state)) for state in STATES}
