"""Any keys in any order: nothing crashes, the top lines stay, and nothing is sent without a yes."""

from __future__ import annotations

import random

import pytest
from screen_helpers import Deeds, Source, app, picture, snapshot, wait_for
from test_states import Tape, fight, later

from netwatch.screens.app import NetwatchApp
from netwatch.screens.levels import LevelsView
from netwatch.screens.lines import Lines

KEYS = sorted(
    {
        key
        for bindings in (NetwatchApp.BINDINGS, Lines.BINDINGS, LevelsView.BINDINGS)
        for binding in bindings
        for key in getattr(binding, "key", "").split(",")
        if key not in ("q", "ctrl+c", "")
    }
)


def test_every_key_has_a_name() -> None:
    assert {"1", "2", "3", "4", "5", "w", "m", "n", "J", "p", "t", "c", "space", "slash", "escape", "enter"} <= set(KEYS)
    assert all(binding.description for binding in NetwatchApp.BINDINGS)  # type: ignore[union-attr]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("live", [True, False], ids=["live", "replay"])
async def test_any_keys_in_any_order(live: bool, seed: int) -> None:
    deal, deeds = random.Random(seed), Deeds()
    source = Source(later(), tape=None if live else Tape())
    tool = app(source, deeds if live else None)
    async with tool.run_test(size=deal.choice([(40, 12), (80, 24), (140, 40)])) as pilot:
        for number in range(60):
            await pilot.press(deal.choice(KEYS))
            if number % 10 == 0:
                source.change(
                    **{
                        name: getattr(deal.choice((snapshot(), fight(), later())), name)
                        for name in ("streams", "frames", "alerts")
                    }
                )
            if number % 20 == 10:
                await pilot.resize_terminal(*deal.choice([(30, 8), (60, 24), (200, 60)]))
        await wait_for(pilot, lambda: "eth0" in picture(tool), "the top line is there")
        assert tool.is_running
    assert not any(what == "join" for what, _ in deeds.done)
