"""The scoreboard's judgement. What must be found is the project's own table; there is no outside source for it."""

from __future__ import annotations

from typing import Any

import pytest
from rig.expected import TABLE, judge, table
from rig.scenes import SCENARIOS

PULLED = {"t": 1010.0, "actor": "gatehouse", "what": "its plug is pulled", "cause": "dead"}
TRUTH = {"t0": 1000.0, "seconds": 30.0, "events": [PULLED]}


def alert(code: str = "source-lost", severity: str = "now", opened: float = 1012.5, over: int | None = None) -> dict[str, Any]:
    return {"code": code, "severity": severity, "opened": opened, "over": over, "title": "gatehouse desk went silent"}


def results(line: str, *alerts: dict[str, Any], built: tuple[str, ...] = ("source-lost",)) -> list[tuple[str, str]]:
    """(result, code) on the mirror port of a scenario 'killed'."""
    return [(v.result, v.code) for v in judge("killed", "mirror", table(line), TRUTH, alerts, built)]


def cell(text: str) -> str:
    return f"killed | source-lost | dead | {text} | may"


def test_an_alert_in_time_is_found() -> None:
    assert results(cell("now 4"), alert()) == [("found", "source-lost")]


@pytest.mark.parametrize(
    "told",
    [[], [alert(opened=1014.5)], [alert(opened=1008.0)], [alert(severity="soon")], [alert(over=3)]],
    ids=["nothing", "late", "before its cause", "too mild", "folded"],
)
def test_anything_else_is_missed(told: list[dict[str, Any]]) -> None:
    assert results(cell("now 4"), *told) == [("missed", "source-lost")]


def test_a_cause_that_never_came_is_missed() -> None:
    assert results("killed | source-lost | flood | now 4 | may", alert()) == [("missed", "source-lost")]


def test_other_alerts_are_unexpected_from_soon_on() -> None:
    others = [alert("two-dhcp-servers", severity) for severity in ("now", "soon", "quality", "tidy", "note")]
    assert results(cell("now 4"), alert(), *others) == [("found", "source-lost")] + [("unexpected", "two-dhcp-servers")] * 2


def test_folded_alerts_are_neither() -> None:
    assert results(cell("now 4"), alert(), alert("universe-silent", "soon", over=1)) == [("found", "source-lost")]


def test_told_where_it_cannot_be_seen() -> None:
    assert results(cell("unseen")) == [("unseen", "source-lost")]
    assert ("wrong mark", "source-lost") in results(cell("unseen"), alert())


def test_a_mark_must_go_when_the_rule_comes() -> None:
    assert results(cell("not built"), built=()) == [("not built", "source-lost")]
    assert results(cell("not built")) == [("wrong mark", "source-lost")]


def test_may_is_right_both_ways() -> None:
    assert results(cell("may")) == [("may", "source-lost")]
    assert results(cell("may"), alert()) == [("may", "source-lost")]


def test_a_cell_that_says_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match=r"line 1 .* 'now'"):
        table(cell("now"))


def test_the_table_speaks_of_scenarios_that_exist() -> None:
    assert {each.scenario for each in table(TABLE.read_text(encoding="utf-8"))} <= set(SCENARIOS)
