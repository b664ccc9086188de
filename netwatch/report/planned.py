"""The plan against the rig, as text."""

from __future__ import annotations

from netwatch.plan.standing import DIFFERS, EXTRA, HERE, MISSING, Standing
from netwatch.story.plan_view import PlanView
from netwatch.words import plan_compare as words
from netwatch.words.phrases import listing, number, plain, start

from .layout import Line, hang, wrap

MOST = 40
"""Boxes of one state that are told singly."""


def planned(plan: PlanView | None, width: int) -> list[Line]:
    """Tally, then what differs, what is extra, what was not heard by place, what is here; nothing without a plan."""
    if plan is None:
        return []
    lines = [Line(text, "head") for text in wrap(f"{words.HEAD}{': ' + plain(plan.name) if plan.name else ''}", width)]
    lines += [Line(text) for text in wrap(words.tally(plan.counts), width)]
    lines += [Line(text) for remark in plan.remarks for text in hang("  ?", remark, width, 5)]
    for state, told in ((DIFFERS, _differs), (EXTRA, _extra)):
        found = plan.of(state)
        if found:
            lines.append(Line(words.HEADS[state]))
            lines += [Line(text, "quality" if state == DIFFERS else "") for each in found[:MOST] for text in told(each, width)]
            lines += [Line(f"  and {number(len(found) - MOST)} more")] if len(found) > MOST else []
    lines += _by_place(plan.of(MISSING), width)
    here = [plain(each.name) for each in plan.of(HERE)]
    if here:
        lines += [Line(text) for text in hang(words.HEADS[HERE], f"{listing(here, MOST)}.", width, 10)]
    return [*lines, Line("")]


def _differs(each: Standing, width: int) -> list[str]:
    where = f", {plain(each.place)}" if each.place else ""
    head = f"{plain(each.name)}{where} ({words.by(each.by)})"
    return hang("  !", f"{head}: {'; '.join(words.difference(found) for found in each.differences)}.", width, 4)


def _extra(each: Standing, width: int) -> list[str]:
    known = [part for part in (listing(each.addresses, 3), each.mac, each.maker) if part and part != each.name]
    return hang("  +", f"{start(plain(each.name))}{' (' + ', '.join(known) + ')' if known else ''}.", width, 4)


def _by_place(missing: list[Standing], width: int) -> list[Line]:
    """Whoever walks about looks for boxes place by place."""
    if not missing:
        return []
    lines = [Line(words.HEADS[MISSING])]
    places: dict[str, list[Standing]] = {}
    for each in sorted(missing, key=lambda each: each.place.casefold()):
        places.setdefault(each.place, []).append(each)
    for place, found in list(places.items())[:MOST]:
        names = [plain(each.name) + (f" ({each.planned[0]})" if each.planned else "") for each in found]
        lines += [Line(text) for text in hang("  -", f"{plain(place) + ': ' if place else ''}{listing(names, 12)}.", width, 4)]
    return lines
