"""Contrast, and severities that do not hang on colour."""

from __future__ import annotations

import colorsys
from collections.abc import AsyncIterator
from functools import partial

import pytest
from rich.color import Color
from rich.segment import Segment
from rich.style import Style
from screen_helpers import Deeds, Source, app, picture, snapshot, wait_for

from netwatch.screens.app import NetwatchApp
from netwatch.screens.looks import CANT_SAY, LOOKS, MARKS, PLAIN, WORDS, WORST_FIRST, Look

SEVERITIES = set(WORST_FIRST)
BLOCKS = {chr(code) for code in range(0x2580, 0x25A0)}
"""Block elements: the scroll bar, a mark and no text."""


def luminance(colour: Color) -> float:
    """Relative luminance by WCAG 2.2's definition."""
    parts = [value / 255 for value in colour.get_truecolor()]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: Color, other: Color) -> float:
    """Contrast ratio by WCAG 2.2's definition, 1 to 21."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_ratio_itself() -> None:
    # WCAG 2.2 gives 21:1 for black on white; #767676 is the usual example of the lightest grey that passes 4.5:1 on white.
    assert contrast(Color.parse("#000000"), Color.parse("#ffffff")) == pytest.approx(21)
    assert contrast(Color.parse("#767676"), Color.parse("#ffffff")) >= 4.5
    assert contrast(Color.parse("#777777"), Color.parse("#ffffff")) < 4.5


WALK = (
    ((), "worst first"),
    (("end", "up", "up"), "> .  note"),
    (("home", "down", "down"), "> !! WRONG"),
    (("enter",), "still true"),
    (("question_mark",), "Help: "),
    (("2",), "sent by"),
    (("3",), "gives addresses"),
    (("J", "1"), "Nothing is sent yet"),
    (("escape", "m", "enter"), "Marked: mark"),
)
"""Keys, and what is then seen."""


async def cells(tool: NetwatchApp) -> AsyncIterator[tuple[str, Segment]]:
    """All that goes to the terminal on a walk through the views: what was seen there, and each piece with its style."""
    async with tool.run_test(size=(80, 20)) as pilot:
        for keys, seen in WALK:
            await pilot.press(*keys)
            await wait_for(pilot, partial(is_seen, tool, seen), f"{seen} is seen")
            for strip in tool.screen._compositor.render_strips():
                for segment in strip:
                    yield seen, segment


def is_seen(tool: NetwatchApp, text: str) -> bool:
    return text in picture(tool)


@pytest.mark.parametrize("look", LOOKS)
async def test_contrast_of_all_that_is_shown(look: str) -> None:
    """WCAG 2.2, 1.4.3: text 4.5:1; 1.4.11: marks 3:1. Taken from the cells as they go to the terminal."""
    poor, texts = [], 0
    async for where, segment in cells(app(Source(snapshot(dropped=12)), Deeds(), look)):
        style, text = segment.style or Style(), segment.text.strip()
        if not text:
            continue
        assert style.color, segment
        assert style.bgcolor, segment
        assert not style.dim, segment
        ratio, least = contrast(style.color, style.bgcolor), 3.0 if set(text) <= BLOCKS else 4.5
        texts += 1
        if ratio < least:
            poor.append(f"{where}: {text!r} has {ratio:.2f} of {least}")
    assert texts > 300
    assert not poor, "\n".join(poor)


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
def test_no_green_so_no_red_and_green_pair(look: Look) -> None:
    """WCAG 2.2, 1.4.1, Use of Color; which hues count as green is common practice, no source."""
    for name in ("text", "strong", "faint", *WORST_FIRST):
        colour = look.style(name).color
        assert colour is not None
        hue, _, saturation = colorsys.rgb_to_hls(*(value / 255 for value in colour.get_truecolor()))
        assert not (75 / 360 < hue < 165 / 360 and saturation > 0.15), name


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
def test_the_gravest_alert_is_the_heaviest(look: Look) -> None:
    """Weight orders the severities, whatever the colours do."""
    weights = [(bool(look.style(s).reverse), bool(look.style(s).bold)) for s in WORST_FIRST]
    assert weights == sorted(weights, reverse=True)
    assert weights[0] == (True, True)


def test_words_and_marks_tell_severities_apart() -> None:
    assert set(MARKS) == set(WORDS) == SEVERITIES
    assert len({*MARKS.values(), CANT_SAY}) == len(SEVERITIES) + 1
    assert len({word.lower() for word in WORDS.values()}) == len(SEVERITIES)


def test_without_colour_severities_differ_by_weight() -> None:
    styles = [PLAIN.style(severity) for severity in WORST_FIRST]
    assert all(style.color is None and style.bgcolor is None for style in styles)
    assert len({(bool(s.bold), bool(s.underline), bool(s.reverse)) for s in styles}) == len(styles)


async def test_no_color_sends_no_colour(monkeypatch: pytest.MonkeyPatch) -> None:
    """NO_COLOR (no-color.org): no colour is added, other weights are allowed."""
    monkeypatch.setenv("NO_COLOR", "1")
    tool = app(deeds=Deeds())
    seen = set()
    async for where, segment in cells(tool):
        seen.add(where)
        style = segment.style or Style()
        assert all(colour is None or colour.is_default for colour in (style.color, style.bgcolor)), segment
    assert len(seen) == len(WALK)
    assert not tool.check_action("look", ())


async def test_empty_no_color_is_not_set(monkeypatch: pytest.MonkeyPatch) -> None:
    """no-color.org: it counts when present and not an empty string."""
    monkeypatch.setenv("NO_COLOR", "")
    tool = app()
    async with tool.run_test(size=(80, 24)):
        assert tool.look.name == "dark"
        assert any(s.style and s.style.color for strip in tool.screen._compositor.render_strips() for s in strip)


async def test_no_color_shows_the_cursor_and_the_severities_by_weight(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    tool = app()
    async with tool.run_test(size=(80, 24)) as pilot:
        await wait_for(pilot, lambda: "quality" in picture(tool), "alerts are shown")
        styles = {}
        for strip in tool.screen._compositor.render_strips():
            for segment in strip:
                for word in ("!! NOW", "!  soon", "~  quality", ">"):
                    if segment.text.startswith(word) and segment.style:
                        styles.setdefault(word, segment.style)
    assert {word: (bool(s.bold), bool(s.underline), bool(s.reverse)) for word, s in styles.items()} == {
        "!! NOW": (True, False, True),
        "!  soon": (True, True, False),
        "~  quality": (True, False, False),
        ">": (False, False, True),
    }
