"""What one kind of alert means, from the declarations that the alerts themselves use: words, rules, numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields

from netwatch import words
from netwatch.alerts.rule import NS, Rule
from netwatch.numbers import DEFAULTS, Numbers
from netwatch.words.phrases import listing, seconds, start

from .layout import Line, hang, wrap

MARGIN = 10
FACTS = {field.name: field.metadata for field in fields(Numbers)}
"""Unit, source and reason of each number."""


def explained(code: str, rules: Mapping[str, Rule], numbers: Numbers, width: int) -> list[Line]:
    """One code in full. ``rules`` by code; KeyError for an unknown one."""
    rule, said = rules[code].under(numbers), words.of(code)
    lines = [Line(text, "head") for text in wrap(words.title(code, {}), width)]
    lines += [Line(code), Line("")]
    for label, text in _paragraphs(rule, rules):
        lines += [Line(line) for line in hang(label, text, width, MARGIN)]
    lines += [Line(""), *_bullets("Or else", said.mistaken, width), Line(""), *_steps(code, width), Line("")]
    lines += _systems(said.systems, width)
    lines += [*_bullets("From", [*_places(rule), said.where], width), Line("")]
    lines += _bullets("Sure", [f"{words.CERTAINTY[each].word}: {text}." for each, text in said.sure.items()], width)
    if rule.numbers:
        lines += [Line(""), *_bullets("Numbers", [_number(name, numbers) for name in rule.numbers], width)]
    return lines


def listed(rules: Mapping[str, Rule], width: int) -> list[Line]:
    """All codes by family, each with what it says."""
    lines: list[Line] = []
    for family, said in words.FAMILIES.items():
        codes = [code for code in said if code in rules]
        if codes:
            lines += [Line(family, "head"), *(Line(text) for code in codes for text in _entry(code, width)), Line("")]
    return [*lines, *_untold(width), Line("'netwatch explain CODE' tells more about one.")]


def _untold(width: int) -> list[Line]:
    """What has no alert, and why."""
    lines = [Line(words.NO_ALERT, "head")]
    for each in words.UNTOLD:
        text = f"{each.what}. {each.why}{f' See {listing(each.see, 4)}.' if each.see else ''}"
        lines += [Line(line) for line in hang("  -", text, width, 4)]
    return [*lines, Line("")]


def _entry(code: str, width: int) -> list[str]:
    return hang(f"  {code}", words.title(code, {}), width, 26)


def _told(rule: Rule) -> str:
    after = f" once it was true for {seconds(rule.after / NS)}" if rule.after else ""
    if rule.steady:
        return f"Told{after}{',' if after else ''} at the next full 10 s of the clock, for it is counted in such."
    return f"Told{after or ' at once'}."


def _paragraphs(rule: Rule, rules: Mapping[str, Rule]) -> Iterator[tuple[str, str]]:
    said = words.of(rule.code)
    yield "Why", said.why
    yield "Found", said.how
    if rule.after or rule.until:
        yield "When", f"{_told(rule)} Over once it was false for {seconds(rule.until / NS)}."
    if rule.explains:
        yield "Hence", f"It takes these under it as its consequences: {listing(rule.explains, 8)}."
    causes = [each.code for each in rules.values() if rule.code in each.explains]
    if causes:
        yield "Under", f"It goes under one of these where they explain it: {listing(causes, 8)}."
    if rule.about_laptop:
        yield "Trust", "It is about this laptop: what else is shown may be wrong while it stands."


def _steps(code: str, width: int) -> list[Line]:
    lines: list[Line] = []
    for number, (text, disturbs) in enumerate(words.steps(code, {}), 1):
        label = "Do" if number == 1 else ""
        lines += [Line(line) for line in hang(f"{label:{MARGIN}}{number}.", text, width, MARGIN + 3)]
        lines += [Line(line) for line in hang("", f"Disturbs: {disturbs}.", width, MARGIN + 3)]
    return lines


def _systems(systems: Mapping[str, tuple[str, ...]], width: int) -> list[Line]:
    lines = [Line(line) for name, texts in systems.items() for line in hang(name, " ".join(texts), width, MARGIN)]
    return [*lines, Line("")] if lines else []


def _places(rule: Rule) -> Iterator[str]:
    for place in ("mirror", "ordinary", "wifi", "limited"):
        sure = rule.certainty.get(place)
        word = "can't be seen" if sure is None else f"at best '{words.CERTAINTY[sure].word.lower()}'"
        yield f"{start(words.VANTAGE[place].name)}: {word}."


def _number(name: str, numbers: Numbers) -> str:
    value, default, facts = getattr(numbers, name), getattr(DEFAULTS, name), FACTS[name]
    changed = "" if value == default else f" (set by you; else {default:g})"
    return f"{name} = {value:g} {facts['unit']}{changed}: {facts['why']} ({facts['source']})."


def _bullets(label: str, texts: tuple[str, ...] | list[str], width: int) -> list[Line]:
    lines: list[Line] = []
    for place, text in enumerate(texts):
        shown = text if text.endswith(".") else f"{start(text)}."
        lines += [Line(line) for line in hang(label if place == 0 else "", shown, width, MARGIN)]
    return lines
