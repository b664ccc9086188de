"""Every symptom has its alert, or a sentence that says why not. The list is our own; ``symptoms.md`` is checked where it is."""

from __future__ import annotations

import ast
import inspect
import os
import re
from pathlib import Path

import pytest

from netwatch import words
from netwatch.alerts.catalogue import RULES, STREAM_RULES, TABLE_RULES
from netwatch.words.base import NOTHING

HERE = Path(__file__).resolve().parent
SHARED = Path(os.environ.get("NETWATCH_SHARED", HERE.parent.parent / "shared"))
CATALOGUE = SHARED / "facts" / "symptoms.md"
LOUDER = {"tidy", "quality", "soon", "now"}


def listed() -> dict[str, tuple[list[str], list[str]]]:
    """By symptom: codes, and what is not told."""
    found = {}
    for line in (HERE / "symptoms.txt").read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            symptom, codes, *untold = (cell.strip() for cell in line.split("|"))
            found[symptom] = ([code.strip() for code in codes.split(",") if code.strip()], untold)
    return found


LIST = listed()


@pytest.mark.parametrize("symptom", LIST)
def test_a_symptom_has_its_alert_or_a_sentence_why_not(symptom: str) -> None:
    codes, untold = LIST[symptom]
    assert codes or untold
    assert set(codes) <= set(RULES)
    for begin in untold:
        assert [each for each in words.UNTOLD if each.what.startswith(begin)], begin


def test_every_rule_is_about_a_symptom() -> None:
    assert {code for codes, _ in LIST.values() for code in codes} == set(RULES)


def test_what_is_not_told_names_only_alerts_that_there_are() -> None:
    assert {code for each in words.UNTOLD for code in each.see} <= set(RULES)
    assert all(each.why.endswith(".") for each in words.UNTOLD)


def test_the_list_holds_every_symptom_of_the_catalogue() -> None:
    if not CATALOGUE.exists():
        pytest.skip(f"{CATALOGUE.name} is not here; set NETWATCH_SHARED to the folder that holds it")
    found = re.findall(r"^### ([A-Z]\d+)\. ", CATALOGUE.read_text(encoding="utf-8"), re.MULTILINE)
    assert len(found) == 60
    assert sorted(LIST) == sorted(found)


@pytest.mark.parametrize("rule", [*TABLE_RULES, *STREAM_RULES], ids=lambda each: each.rule.code)
def test_what_has_no_step_for_whoever_is_on_site_is_a_note(rule: object) -> None:
    """If each step only looks, thinks or waits, its rule gives no severity above 'note'."""
    steps = words.of(rule.rule.code).steps  # type: ignore[attr-defined]
    if all(disturbs == NOTHING for _, disturbs in steps):
        told = {node.value for node in ast.walk(ast.parse(inspect.getsource(type(rule)))) if isinstance(node, ast.Constant)}
        assert "note" in told
        assert not told & LOUDER
