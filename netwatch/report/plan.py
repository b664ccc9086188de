"""What was found in a plan, and what is proposed, as text."""

from __future__ import annotations

from collections.abc import Sequence

from netwatch import words
from netwatch.numbers import Numbers
from netwatch.plan.check_light import fitting, load, receivers
from netwatch.plan.make import Step
from netwatch.plan.problem import Problem
from netwatch.plan.rig import Plan
from netwatch.plan.universes import ARTNET, E131
from netwatch.words import plan as said
from netwatch.words import plan_checks, plan_make
from netwatch.words.phrases import listing, mbit, number, plain, share

from .layout import Column, Line, hang, painted, table, wrap

MARGIN = 10
SPEEDS = (10, 100, 1000)
MOST_ORIGINS, MOST_ROWS = 4, 12


def checked(
    plan: Plan, name: str, problems: Sequence[Problem], numbers: Numbers, *, colour: bool = False, width: int = 80
) -> str:
    """The contradictions, worst first, and the load."""
    lines = _head(plan, name, width)
    for each in problems:
        shown = words.SEVERITY[each.severity]
        text = plan_checks.text(each.code, each.facts)
        lines += [Line(t, each.severity) for t in hang(f"{shown.mark:2} {shown.word}", text, width, MARGIN)]
        lines += [Line(t) for t in hang("   Do", plan_checks.advice(each.code), width, MARGIN)]
        if each.origins:
            lines += [Line(t) for t in hang("   Where", f"{listing(each.origins, MOST_ORIGINS)}.", width, MARGIN)]
        lines.append(Line(""))
    bad = [each for each in problems if each.severity == "soon"]
    verdict = said.contradicts(len(bad)) if bad else said.NO_CONTRADICTION
    lines += [Line(t, "head") for t in wrap(verdict, width)] + [Line("")]
    return painted([*lines, *_load(plan, numbers, width)], colour)


def proposed(plan: Plan, name: str, steps: Sequence[Step], *, colour: bool = False, width: int = 80) -> str:
    """What was added, then what could not be."""
    lines = _head(plan, name, width)
    for done, head in ((True, said.PROPOSED), (False, said.NOT_PROPOSED)):
        mine = [each for each in steps if each.done == done]
        if mine:
            lines.append(Line(head, "head"))
            lines += [Line(t) for each in mine for t in hang("-", plan_make.text(each.code, each.facts), width, 2)]
            lines.append(Line(""))
    if not steps:
        lines += [Line(t, "head") for t in wrap(said.COMPLETE, width)]
    return painted(lines, colour)


def _head(plan: Plan, name: str, width: int) -> list[Line]:
    lights = {light for _, light in plan.lights()} | {light for each in plan.numbering for light in each.lights[:1]}
    paired = {light for each in plan.numbering for light in each.lights[1:]}
    text = said.head(name, plan.name, len(plan.devices), len(lights - paired), len(plan.subnets))
    lines = [Line(t) for t in hang("Plan", text, width, MARGIN)]
    for at, remark in enumerate(plan.remarks):
        lines += [Line(t) for t in hang("" if at else "Unread", f"- {remark}", width, MARGIN)]
    return [*lines, Line("")]


def _load(plan: Plan, numbers: Numbers, width: int) -> list[Line]:
    """How many universes fill which link, and which boxes come nearest."""
    hz = numbers.plan_hz
    lines = [Line(t, "head") for t in wrap(said.load_head(hz), width)]
    rows = [[f"{speed:,} Mbit/s", *(number(fitting(speed, each, hz)) for each in (E131, ARTNET))] for speed in SPEEDS]
    lines += [Line(t) for t in table([Column("Link"), Column("sACN fills it"), Column("Art-Net fills it")], rows, width, 9)]
    received = receivers(plan)
    loads = []
    for device in plan.devices:
        sends, receives = load(device, received, hz)
        speed = device.link or numbers.plan_link_mbit
        if sends or receives:
            told = f"{speed:,.0f}" if device.link else f"{speed:,.0f}?"
            loads.append((max(sends, receives) / speed, [plain(device.name), _rate(sends), _rate(receives), told]))
    if loads:
        loads.sort(key=lambda each: -each[0])
        columns = [Column("Box", True), Column("Sends"), Column("Receives"), Column("Link, Mbit/s"), Column("Share")]
        lines += [Line(""), *(Line(t) for t in table(columns, [[*row, share(part)] for part, row in loads], width, MOST_ROWS))]
        assumed = any(not each.link for each in plan.devices if each.lights)
        lines += [Line(t) for t in wrap(said.ASSUMED, width)] if assumed else []
    return lines


def _rate(value: float) -> str:
    return mbit(value) if value else ""
