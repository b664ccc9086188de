"""``netwatch explain`` and the catalogue in README, from the declarations that alerts use. What they must hold is the owner's."""

from __future__ import annotations

import ast
import inspect
import os
import subprocess
import sys
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import pytest

from netwatch import words
from netwatch.alerts.catalogue import RULES, STREAM_RULES, TABLE_RULES
from netwatch.cli import main
from netwatch.report.explained import FACTS

ROOT = Path(__file__).resolve().parent.parent
CODES = sorted(RULES)


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """What the verb writes, on one line."""
    assert main(["explain", *arguments]) == 0
    shown = capsys.readouterr().out
    assert all(len(line) <= 80 for line in shown.splitlines())
    return " ".join(shown.split())


@pytest.mark.parametrize("code", CODES)
def test_everything_about_a_code_is_told(code: str, capsys: pytest.CaptureFixture[str]) -> None:
    shown, said = told(capsys, code), words.of(code)
    for text in (words.title(code, {}), said.why, said.how, said.where):
        assert " ".join(text.split()) in shown
    for text in (*said.mistaken, *said.sure.values()):
        assert text[1:] in shown
    for number, (step, disturbs) in enumerate(words.steps(code, {}), 1):
        assert f"{number}. {step} Disturbs: {disturbs}." in shown
    for name in RULES[code].numbers:
        assert f"{name} = " in shown
        assert f"({FACTS[name]['source']})." in shown


def test_without_a_code_all_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    shown = told(capsys)
    assert all(code in shown for code in CODES)
    assert all(family in shown for family in words.FAMILIES)


def test_every_code_has_a_family() -> None:
    assert sorted(code for said in words.FAMILIES.values() for code in said) == sorted(words.WORDS)


@pytest.mark.parametrize(
    ("word", "meant"),
    [("multicast-droped", "'multicast-dropped'"), ("Two-DHCP-Servers", "'two-dhcp-servers'"), ("mask", "'wrong-mask'")],
)
def test_a_slip_is_answered_with_what_was_meant(word: str, meant: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", word]) == 2
    assert meant in capsys.readouterr().err


def test_a_word_like_no_other(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", "zzzzzz"]) == 2
    assert (
        capsys.readouterr().err == "netwatch: There is no alert 'zzzzzz'; 'netwatch explain' lists them all, and what has none.\n"
    )


def test_a_word_of_what_has_no_alert(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", "eee"]) == 2
    assert (
        "There is no alert 'eee'. Power-saving links (EEE, Energy Efficient Ethernet): a link wakes up" in capsys.readouterr().err
    )


def test_numbers_in_force_are_shown(capsys: pytest.CaptureFixture[str]) -> None:
    assert "querier_gone_s = 12 s (set by you; else 255): " in told(capsys, "no-querier", "--set", "querier_gone_s=12")


def test_it_loads_neither_screens_nor_scapy() -> None:
    tell = "import sys; from netwatch.cli import main; main(['explain', 'no-querier']); print(*sys.modules, file=sys.stderr)"
    around = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", tell], cwd=ROOT, env=around, capture_output=True, text=True, check=True)
    assert not {"textual", "scapy"} & set(done.stderr.split())


@pytest.mark.parametrize("rule", [*TABLE_RULES, *STREAM_RULES], ids=lambda each: each.rule.code)
def test_numbers_that_a_rule_reads_are_declared(rule: object) -> None:
    declared = RULES[rule.rule.code].numbers  # type: ignore[attr-defined]
    assert set(declared) <= set(FACTS)
    read = {
        node.attr
        for node in ast.walk(ast.parse(inspect.getsource(type(rule))))
        if isinstance(node, ast.Attribute) and node.attr in FACTS
    }
    assert read <= set(declared)


def test_the_catalogue_in_readme_is_up_to_date() -> None:
    spec = spec_from_file_location("catalogue", ROOT / "scripts" / "catalogue.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert module.written(readme) == readme, "run scripts/catalogue.py"
