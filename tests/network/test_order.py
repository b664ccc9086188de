"""Short ways that must answer as the long ones do."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from netwatch.network.order import speak_often

SPEECH = st.lists(st.tuples(st.integers(0, 40), st.integers(-1, 3)), min_size=1, max_size=120)


@given(SPEECH, st.integers(1, 400), st.integers(0, 60))
def test_nobody_is_silent_where_all_speak_often(speech: list[tuple[int, int]], silence: int, before: int) -> None:
    """-1 = a flow that is not known; ``before`` = so long before the first row all were heard."""
    time = np.cumsum([pause for pause, _ in speech])
    flow = np.array([each for _, each in speech])
    here = np.unique(flow[flow >= 0])
    last = int(time[0]) - before
    if len(here) and speak_often(flow, here, time, last, silence):
        for each in here.tolist():
            assert np.diff(time[flow == each], prepend=last).max() <= silence


def test_who_speaks_often_is_seen_to() -> None:
    time = np.arange(0, 700, 5)
    assert speak_often(time // 5 % 4, np.arange(4), time, -20, 100)
    assert not speak_often(time // 5 % 4, np.arange(4), time, -90, 100)
    assert not speak_often(np.where(time < 500, time // 5 % 4, time // 5 % 3), np.arange(4), time, -20, 100)
