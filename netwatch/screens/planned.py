"""The check 'as planned' in full: what differs, what is extra, what was not heard, place by place."""

from __future__ import annotations

from netwatch.plan.standing import DIFFERS, EXTRA, HERE, MISSING, Standing
from netwatch.story.plan_view import PlanView
from netwatch.words import plan_compare as words


def sections(plan: PlanView) -> list[tuple[str, list[str], bool]]:
    """(title, a line for each box, whether something is to be done), most urgent first."""
    out = []
    for state, told in ((DIFFERS, _differs), (EXTRA, _extra), (MISSING, _missing), (HERE, _here)):
        found = plan.of(state)
        if state == MISSING:  # whoever walks about looks for them place by place
            found.sort(key=lambda each: each.place.casefold())
        if found:
            out.append((f"{words.HEADS[state]} ({len(found)})", [told(each) for each in found], state == DIFFERS))
    return out


def _differs(each: Standing) -> str:
    return f"{_named(each.name, each.place)}: {'; '.join(words.difference(found) for found in each.differences)}"


def _extra(each: Standing) -> str:
    return _named(*dict.fromkeys((each.name, *each.addresses, each.mac, each.maker)))


def _missing(each: Standing) -> str:
    return _named(each.place, each.name, *each.planned)


def _here(each: Standing) -> str:
    return f"{_named(each.name, each.place)} ({words.by(each.by)})"


def _named(*parts: str) -> str:
    return ", ".join(part for part in parts if part)
