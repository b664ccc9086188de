"""Telling only what is new of what a rule found comes to the same as telling all of it. Our own contract; no outside source."""

from __future__ import annotations

from copy import deepcopy

from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.alerts.building import Easing
from netwatch.alerts.engine import Engine
from netwatch.alerts.fitting import Fitting
from netwatch.alerts.phases import BUILDING, SHOW, Phases
from netwatch.alerts.rule import NS, SEVERITIES, Finding, Rule
from netwatch.network.network import Network
from netwatch.numbers import DEFAULTS

CERTAINTY = {"mirror": "certain", "ordinary": "likely", "wifi": "hint", "limited": None}
RULES = (
    Rule("certain", until=2 * NS, certainty=CERTAINTY),
    Rule("laptop", until=2 * NS, certainty=CERTAINTY, about_laptop=True),
    Rule("building", until=2 * NS, certainty=CERTAINTY, note_in_building=True),
)
findings = st.lists(
    st.builds(
        Finding, segment=st.integers(0, 1), subject=st.sampled_from(("a", "b")), severity=st.sampled_from(SEVERITIES),
        certainty=st.just("certain"), since=st.integers(0, 9).map(lambda second: second * NS),
        facts=st.fixed_dictionaries({"universes": st.sampled_from(([1], [2], [3]))}),
    ), min_size=8, max_size=8,
)  # fmt: skip
steps = st.lists(
    st.tuples(
        st.lists(st.integers(0, 7), max_size=4, unique=True), st.sampled_from((*["mirror"] * 8, "wifi", "limited")),
        st.sampled_from((*[BUILDING] * 8, SHOW)), st.sampled_from((*["goes on"] * 8, "copied")),
    ), max_size=12,
)  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(RULES), findings, steps)
def test_what_is_new_says_as_much_as_all(
    rule: Rule, pool: list[Finding], script: list[tuple[list[int], str, str, str]]
) -> None:
    network, phases, fitting = Network(DEFAULTS), Phases(BUILDING), Fitting(rule)
    plain, brief = Engine({rule.code: rule}), Engine({rule.code: rule})
    for second, (which, vantage, phase, then) in enumerate(script, 10):
        now, found = second * NS, [pool[each] for each in which]
        network.vantage.port(0).vantage = vantage
        phases.turn(now, phase)
        easing = Easing(network, phases, now)
        if then == "copied":
            fitting, pool = deepcopy((fitting, pool))
            found = [pool[each] for each in which]
        plain.update(rule.code, now, Fitting(rule).fit(network, found, easing)[0])
        brief.update(rule.code, now, *fitting.fit(network, found, easing))
        assert brief.advance(now) == plain.advance(now)
        assert brief.alerts() == plain.alerts()
    assert brief.deadline() == plain.deadline()


def test_a_finding_that_stands_is_told_once() -> None:
    network, fitting = Network(DEFAULTS, "mirror"), Fitting(RULES[0])
    network.vantage.port(0).vantage = "mirror"
    easing = Easing(network, Phases(SHOW), 0)
    one, other, third = (Finding(0, subject, "soon", "certain", 0) for subject in "abc")
    assert fitting.fit(network, [one, other], easing) == ([one, other], None)
    assert fitting.fit(network, [other, one], easing) == ([], [])
    assert fitting.fit(network, [other, third], easing) == ([third], [(0, "a")])
