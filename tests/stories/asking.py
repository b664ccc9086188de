"""Who asks and who answers on an ordinary port, with intervals of a fifth of those of RFC 9776 8: for stories of queriers."""

from __future__ import annotations

from dataclasses import replace

from netwatch.numbers import DEFAULTS
from tests.stories.boxes import LAPTOP, SWITCH, Box
from tests.stories.frames import query, report, universe_group
from tests.stories.script import at, listening, story

G1, G2 = universe_group(1), universe_group(2)
OTHER = Box("stand-by switch", "02:00:00:00:00:fd", "10.0.0.253")
PROXY = Box("edge switch", "02:00:00:00:00:fc", "0.0.0.0")


def asks(*seconds, sender=SWITCH, **how):
    return [event for second in seconds for event in at(second, query(sender, **how))]


def answers(*seconds, who=LAPTOP, group=G1):
    return [event for second in seconds for event in at(second, report(who, group))]


QUICK = replace(
    DEFAULTS,
    querier_hint_s=27.0,
    querier_gone_s=51.0,
    membership_s=52.0,
    response_s=2.0,
    ageing_least_s=14.0,
    query_interval_s=25.0,
)


def told_of(*lines):
    """A story on an ordinary port, with short intervals."""
    return story(listening("ordinary"), *lines, numbers=QUICK)
